"""How static files are named and packed in production."""

from whitenoise.storage import CompressedManifestStaticFilesStorage


class ModuleStorage(CompressedManifestStaticFilesStorage):
    """Hash the names inside ES module imports too, so no bundler is needed.

    A compressed copy lies beside each file, for phones on a poor signal.
    """

    support_js_module_import_aggregation = True
    # One for each step of modules that import modules; five would not do any more.
    max_post_process_passes = 20
