"""Where phones deliver visits and photographs; safe to deliver twice."""

from django.core.exceptions import PermissionDenied
from django.http import Http404
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import exceptions
from rest_framework.parsers import BaseParser
from rest_framework.permissions import BasePermission
from rest_framework.response import Response
from rest_framework.views import APIView

from shared import limits, policy
from shared.api import Conflict, Unprocessable, faults

from . import api_examples, services, submissions
from .models import Photo, Visit
from .serializers import Faults, UploadFaults, UploadOut, VisitIn, VisitOut, is_complete

# Below DATA_UPLOAD_MAX_MEMORY_SIZE: a larger body is answered by Django, in HTML.
MOST_BYTES = 4 * 1024 * 1024
EXPECTED = OpenApiParameter(
    "X-Expected-User",
    OpenApiTypes.INT,
    OpenApiParameter.HEADER,
    description="The id of who wrote this; refused with 409 if another is signed in.",
)
OFFSET = OpenApiParameter(
    "Upload-Offset",
    OpenApiTypes.INT,
    OpenApiParameter.HEADER,
    required=True,
    description="Where in the file this piece begins.",
)


class TooLarge(exceptions.APIException):
    status_code = 413
    default_code = "too_large"
    default_detail = "This is too much at once."


class LogsVisits(BasePermission):
    message = "Only the society's volunteers log visits."

    def has_permission(self, request, view):
        return policy.can_log_visits(request.user)


class Octets(BaseParser):
    """Bytes as they are."""

    media_type = "application/octet-stream"

    def parse(self, stream, media_type=None, parser_context=None):
        return stream.read()


class FieldView(APIView):
    """What is common to what phones call."""

    permission_classes = [LogsVisits]
    throttle_classes = [limits.Throttle]
    limit_name = "visit"

    def get_authenticate_header(self, request):
        # With it DRF answers 401 to somebody signed out and 403 to the wrong person;
        # a phone asks the one to sign in and cannot help the other.
        return "Session"

    def initial(self, request, *args, **kwargs):
        super().initial(request, *args, **kwargs)
        # By its announced length, before any of it is read.
        length = request.META.get("CONTENT_LENGTH") or "0"
        if not length.isdigit() or int(length) > MOST_BYTES:
            raise TooLarge(f"At most {MOST_BYTES:,} bytes at once.")
        expected = request.headers.get("X-Expected-User")
        if expected and expected != str(request.user.pk):
            raise Conflict(
                "Somebody else is signed in than wrote this. Nothing was taken.",
                code="other_person",
            )


class Visits(FieldView):
    """Deliver a whole visit with its observations, and announce its photos.

    What of it cannot be read is named in ``set_aside`` and the rest is stored; only a
    visit without an id, of no bridge of the record, or that says nothing is refused.
    """

    examples = api_examples.VISITS

    @extend_schema(
        operation_id="visits_create",
        parameters=[EXPECTED],
        request=VisitIn,
        responses={
            200: VisitOut,
            201: VisitOut,
            400: Faults,
            401: Faults,
            403: Faults,
            409: Faults,
            413: Faults,
            422: Faults,
        },
    )
    def post(self, request):
        try:
            visit, created = services.record_visit(
                surveyor=request.user, payload=request.data, setting_aside=True
            )
        except services.OtherContent as error:
            raise Unprocessable(
                {
                    "client_id": "This visit was sent before with other content. Both "
                    "are kept, and a reviewer will look at them."
                }
            ) from error
        visit = Visit.objects.prefetch_related("photos").get(pk=visit.pk)
        return Response(VisitOut(visit).data, status=201 if created else 200)


class OwnVisit(FieldView):
    """One visit of one's own: how it fares, and which photos are still to come."""

    examples = api_examples.OWN_VISIT

    @extend_schema(
        operation_id="visits_retrieve",
        responses={200: VisitOut, 401: Faults, 403: Faults, 404: Faults},
    )
    def get(self, request, client_id):
        ids = [client_id, submissions.own_id(client_id, request.user)]
        own = Visit.objects.filter(surveyor=request.user, client_id__in=ids)
        visit = own.select_related("bridge").prefetch_related("photos").first()
        if visit is None:
            raise Http404
        return Response(VisitOut(visit).data)


class Uploads(FieldView):
    """Deliver a photo's bytes from where the server stands."""

    parser_classes = [Octets]
    limit_name = "upload"
    examples = api_examples.UPLOADS

    @extend_schema(
        operation_id="uploads_retrieve",
        responses={200: UploadOut, 401: Faults, 403: Faults, 404: Faults},
    )
    def get(self, request, client_id):
        return _stand(_own_photo(request, client_id))

    @extend_schema(
        operation_id="uploads_append",
        parameters=[OFFSET, EXPECTED],
        request={"application/octet-stream": OpenApiTypes.BINARY},
        responses={
            200: UploadOut,
            400: Faults,
            401: Faults,
            403: Faults,
            404: Faults,
            409: UploadFaults,
            413: Faults,
            422: UploadFaults,
        },
    )
    def patch(self, request, client_id):
        photo = _own_photo(request, client_id)
        offset = _offset(request)
        data = request.data if isinstance(request.data, bytes) else b""
        try:
            photo = services.receive_chunk(photo=photo, offset=offset, data=data)
        except services.TooMuch as error:
            return _refusal(
                photo,
                422,
                error.offset,
                "size",
                "This reaches past the size announced.",
            )
        except services.OtherBytes as error:
            return _refusal(
                photo,
                422,
                error.offset,
                "sha256",
                "What arrived is not what was announced. Send it again from the start.",
            )
        except services.WrongOffset as error:
            return _refusal(
                photo, 409, error.offset, "offset", f"{error}", name="Upload-Offset"
            )
        if photo.fault:
            offset = photo.received_bytes
            return _refusal(photo, 422, offset, "unreadable", photo.fault)
        return _stand(photo)


def _own_photo(request, client_id):
    """One's own photo by the id it was announced under, even where that was taken."""
    ids = [client_id, submissions.own_id(client_id, request.user)]
    found = list(Photo.objects.select_related("visit").filter(client_id__in=ids))
    own = [one for one in found if one.visit.surveyor_id == request.user.pk]
    if own:
        return own[0]
    if found:
        raise PermissionDenied("This photo belongs to another surveyor.")
    raise Http404


def _offset(request):
    text = request.headers.get("Upload-Offset", "")
    if not (text.isascii() and text.isdigit()) or len(text) > 15:
        raise exceptions.ValidationError(
            {"Upload-Offset": ["Say where this piece begins, in bytes."]},
            code="required",
        )
    return int(text)


def _stand(photo):
    headers = {"Upload-Offset": str(photo.received_bytes), "Cache-Control": "no-store"}
    return Response(UploadOut(photo).data, headers=headers)


def _refusal(photo, status, offset, code, message, name="file"):
    """An error answer that also says where the server stands, in header and body."""
    body = {
        **faults((name, code, message)),
        "offset": offset,
        "is_complete": is_complete(photo),
    }
    headers = {"Upload-Offset": str(offset), "Cache-Control": "no-store"}
    return Response(body, status=status, headers=headers)
