"""Headers that every answer carries, and how some are packed."""

from django.middleware.gzip import GZipMiddleware

POLICY = "camera=(self), geolocation=(self), microphone=(), payment=(), usb=()"


def permissions_policy(get_response):
    """Say which powers of the browser the site's pages may ask for."""

    def middleware(request):
        response = get_response(request)
        response.headers.setdefault("Permissions-Policy", POLICY)
        return response

    return middleware


class PackText(GZipMiddleware):
    """Compress scripts and styles where no packed copies lie beside them."""

    PACKED = ("text/css", "text/javascript", "application/javascript")

    def process_response(self, request, response):
        kind = response.headers.get("Content-Type", "").partition(";")[0]
        if not request.path.startswith("/static/") or kind not in self.PACKED:
            return response
        return super().process_response(request, response)
