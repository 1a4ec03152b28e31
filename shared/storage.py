"""How static files are named and packed in production."""

from whitenoise.storage import CompressedManifestStaticFilesStorage


class ModuleStorage(CompressedManifestStaticFilesStorage):
    """Hash the names inside ES module imports too, so no bundler is needed.

    A compressed copy lies beside each file, for phones on a poor signal.
    """

    support_js_module_import_aggregation = True
