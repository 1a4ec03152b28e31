"""Headers that every answer carries."""

POLICY = "camera=(self), geolocation=(self), microphone=(), payment=(), usb=()"


def permissions_policy(get_response):
    """Say which powers of the browser the site's pages may ask for."""

    def middleware(request):
        response = get_response(request)
        response.headers.setdefault("Permissions-Policy", POLICY)
        return response

    return middleware
