"""Where photographs lie: in a folder, or in a bucket of a store that speaks S3."""

from pathlib import Path

from . import environment


def folder(path: Path) -> dict:
    """Return the storage setting of a folder on this machine."""
    return {
        "BACKEND": "django.core.files.storage.FileSystemStorage",
        "OPTIONS": {"location": path},
    }


def bucket(name: str) -> dict:
    """Return the storage setting of a bucket in a store that speaks S3.

    Everything in it is private: pages serve what may be seen, and nobody is sent to
    the bucket. Keys come from AWS_ACCESS_KEY_ID and AWS_SECRET_ACCESS_KEY.
    """
    return {
        "BACKEND": "storages.backends.s3.S3Storage",
        "OPTIONS": {
            "bucket_name": name,
            "endpoint_url": environment.text("MEDIA_ENDPOINT") or None,
            "region_name": environment.text("MEDIA_REGION") or None,
            "default_acl": None,
            "querystring_auth": True,
            "file_overwrite": True,
            # Pieces of a photograph are read whole; a larger file goes to the disk.
            "max_memory_size": 4 * 1024 * 1024,
        },
    }
