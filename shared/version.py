"""The release this is; pages, backups and the package all say the same."""

__version__ = "0.1.0"
