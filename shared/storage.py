"""How static files are named in production."""

from django.contrib.staticfiles.storage import ManifestStaticFilesStorage


class ModuleStorage(ManifestStaticFilesStorage):
    """Hash the names inside ES module imports too, so no bundler is needed."""

    support_js_module_import_aggregation = True
