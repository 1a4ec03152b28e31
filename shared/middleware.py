"""Headers that every answer carries, how some are packed, and bodies read whole."""

from django.middleware.gzip import GZipMiddleware

# What is read of a body nobody wanted; who sends more than this is cut off.
MOST_UNREAD, PIECE = 16 * 1024 * 1024, 64 * 1024
POLICY = "camera=(self), geolocation=(self), microphone=(), payment=(), usb=()"


def permissions_policy(get_response):
    """Say which powers of the browser the site's pages may ask for."""

    def middleware(request):
        response = get_response(request)
        response.headers.setdefault("Permissions-Policy", POLICY)
        return response

    return middleware


def read_to_the_end(get_response):
    """Take in all of what was sent, also where the answer did not need it.

    An answer given before its body was read, as a refusal is, leaves the rest of the
    body on the line. The web server then drops the line without a word: the answer may
    be lost with it, and whatever the caller sends next on it surely is.
    """

    def middleware(request):
        response = get_response(request)
        for _ in range(MOST_UNREAD // PIECE):
            if not _further(request):
                break
        return response

    return middleware


def _further(request):
    try:
        return request._stream.read(PIECE)
    except (OSError, ValueError):
        # The caller has gone, or whoever read it has closed it.
        return b""


class PackText(GZipMiddleware):
    """Compress scripts and styles where no packed copies lie beside them."""

    PACKED = ("text/css", "text/javascript", "application/javascript")

    def process_response(self, request, response):
        kind = response.headers.get("Content-Type", "").partition(";")[0]
        if not request.path.startswith("/static/") or kind not in self.PACKED:
            return response
        return super().process_response(request, response)
