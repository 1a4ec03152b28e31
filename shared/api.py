"""One shape for every error, and pages of a bounded size."""

import re

from django.core.exceptions import PermissionDenied, ValidationError
from django.http import Http404
from django.utils.decorators import method_decorator
from django.views.decorators.cache import cache_control
from django.views.decorators.http import conditional_page
from rest_framework import exceptions
from rest_framework.pagination import PageNumberPagination
from rest_framework.parsers import JSONParser
from rest_framework.response import Response
from rest_framework.views import exception_handler

# NUL, and halves of surrogate pairs.
UNSTORABLE = re.compile("[\0\ud800-\udfff]")


class Pages(PageNumberPagination):
    page_size = 50
    page_size_query_param = "page_size"
    max_page_size = 100

    def paginate_queryset(self, queryset, request, view=None):
        """A page that there is not is a parameter that cannot be read: 400."""
        try:
            return super().paginate_queryset(queryset, request, view)
        except exceptions.NotFound as error:
            raise exceptions.ValidationError(
                {"page": "There is no such page."}, code="page"
            ) from error

    def get_page_size(self, request):
        asked = request.query_params.get(self.page_size_query_param, "")
        if asked and not re.fullmatch("0*[1-9][0-9]{0,8}", asked):
            raise exceptions.ValidationError(
                {self.page_size_query_param: ["Give a whole number, 1 or more."]}
            )
        return super().get_page_size(request)


def tagged(view):
    """Give a view's answers an ETag of their content, and 304 to who holds it.

    What is told depends on who asks, so nobody shares it and everybody asks again.
    """
    view.is_tagged = True
    for decorator in (cache_control(private=True, no_cache=True), conditional_page):
        view = method_decorator(decorator, name="dispatch")(view)
    return view


class Json(JSONParser):
    """JSON that every database can keep and nothing can be felled with.

    Refuses text that PostgreSQL cannot store (NUL, half a surrogate pair) and nesting
    deeper than the reader goes, each of which would otherwise be a server error.
    """

    def parse(self, stream, media_type=None, parser_context=None):
        try:
            data = super().parse(stream, media_type, parser_context)
            unstorable = _unstorable(data)
        except RecursionError:
            raise exceptions.ParseError("This is nested too deeply.")
        if unstorable:
            raise exceptions.ParseError("This holds characters that cannot be kept.")
        return data


def _unstorable(data):
    if isinstance(data, str):
        return bool(UNSTORABLE.search(data))
    if isinstance(data, dict):
        return any(_unstorable(part) for pair in data.items() for part in pair)
    return isinstance(data, list) and any(map(_unstorable, data))


class Conflict(exceptions.APIException):
    status_code = 409
    default_code = "conflict"
    default_detail = "This does not fit what the site holds."


class Unprocessable(exceptions.APIException):
    status_code = 422
    default_code = "other_content"
    default_detail = "The same id was sent before with other content."


def faults(*rows):
    """Build the body of an error answer from (field, code, message) rows."""
    return {
        "errors": [
            {"field": field, "code": code, "message": message}
            for field, code, message in rows
        ]
    }


def handle_exception(error, context):
    """Answer every fault as ``{"errors": [{"field", "code", "message"}]}``."""
    if isinstance(error, ValidationError):
        return Response(faults(*_django_rows(error)), status=400)
    if isinstance(error, Http404):
        error = exceptions.NotFound()
    if isinstance(error, PermissionDenied):
        error = exceptions.PermissionDenied(str(error) or None)
    response = exception_handler(error, context)
    if response is None:
        return None
    detail = getattr(error, "detail", None)
    response.data = faults(*(_rows(detail) or [("", "error", str(error))]))
    return response


def _django_rows(error, prefix=""):
    if hasattr(error, "error_dict"):
        for field, errors in error.error_dict.items():
            name = "" if field == "__all__" else field
            for one in errors:
                yield from _django_rows(one, f"{prefix}{name}")
        return
    for one in error.error_list:
        for message in one.messages:
            yield prefix, one.code or "invalid", message


def _rows(detail, path=""):
    """Flatten DRF's nested details into rows with dotted paths."""
    if isinstance(detail, dict):
        rows = []
        for name, inner in detail.items():
            part = "" if name in ("detail", "non_field_errors") else str(name)
            rows += _rows(inner, ".".join(p for p in (path, part) if p))
        return rows
    if isinstance(detail, list):
        rows = []
        for index, inner in enumerate(detail):
            plain = isinstance(inner, str)
            where = path if plain else ".".join(p for p in (path, str(index)) if p)
            rows += _rows(inner, where)
        return rows
    if detail is None:
        return []
    return [(path, getattr(detail, "code", "invalid"), str(detail))]
