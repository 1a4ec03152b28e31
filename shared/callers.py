"""Where a request came from."""

from django.conf import settings


def address(request) -> str:
    """Return the address that called: behind a proxy, the one the proxy saw.

    A proxy adds the caller it saw at the end of ``X-Forwarded-For``. What stands before
    it came from the caller and says whatever the caller likes.
    """
    direct = request.META.get("REMOTE_ADDR", "")
    if not settings.BEHIND_PROXY:
        return direct
    forwarded = request.META.get("HTTP_X_FORWARDED_FOR", "")
    return forwarded.rpartition(",")[2].strip() or direct
