"""The shapes of what phones send and get back, for the API's own description.

What is sent is read by ``submissions``, which can name every fault at once and keeps
the document word for word; the shapes of it here are for people who write a client.
"""

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from bridges.models import Bridge, Form, Material
from shared.schema import Fault, Faults

from . import alarms, danger
from .models import Answer, Certainty, Photo, Visit


class UploadFaults(Faults):
    """A refusal of bytes, with where the server stands unless somebody else is there."""

    offset = serializers.IntegerField(required=False)
    is_complete = serializers.BooleanField(required=False)


class ObservationIn(serializers.Serializer):
    element = serializers.CharField(help_text="Its path, such as span-1/deck.")
    answer = serializers.ChoiceField(Answer)
    state = serializers.JSONField(
        required=False, help_text="What it is now; only when it has changed."
    )
    certainty = serializers.ChoiceField(Certainty, required=False)
    reason = serializers.CharField(required=False)
    note = serializers.CharField(required=False)
    marks = serializers.CharField(
        required=False, help_text="Marks and stencils found on it, letter by letter."
    )
    compared_with = serializers.IntegerField(
        required=False,
        allow_null=True,
        help_text="The observation that was shown as last recorded.",
    )


class PhotoIn(serializers.Serializer):
    client_id = serializers.UUIDField()
    name = serializers.CharField(required=False)
    size_bytes = serializers.IntegerField(min_value=1)
    sha256 = serializers.RegexField(r"^[0-9a-f]{64}$")
    element = serializers.CharField(required=False, allow_null=True)
    viewpoint = serializers.CharField(required=False, allow_null=True)
    repeats = serializers.UUIDField(required=False, allow_null=True)
    caption = serializers.CharField(required=False)
    credit = serializers.CharField(required=False)
    rights = serializers.CharField(required=False)
    is_drawing = serializers.BooleanField(required=False)
    taken = serializers.CharField(required=False, help_text="EDTF, such as 2019-06-02.")
    taken_at = serializers.DateTimeField(
        required=False, help_text="The moment, where the phone took it itself."
    )
    latitude = serializers.FloatField(required=False, allow_null=True)
    longitude = serializers.FloatField(required=False, allow_null=True)
    position_accuracy_m = serializers.FloatField(required=False, allow_null=True)
    position_source = serializers.ChoiceField(Photo.Place, required=False)
    bearing_deg = serializers.FloatField(required=False, allow_null=True)


class FindIn(serializers.Serializer):
    """A bridge that is not on the record."""

    name = serializers.CharField(required=False)
    latitude = serializers.FloatField()
    longitude = serializers.FloatField()
    position_accuracy_m = serializers.FloatField(required=False)
    county = serializers.CharField(required=False)
    town = serializers.CharField(required=False)
    road = serializers.CharField(required=False)
    crossing = serializers.CharField(required=False)
    status = serializers.ChoiceField(Bridge.Status, required=False)
    form = serializers.ChoiceField(Form, required=False)
    material = serializers.ChoiceField(Material, required=False)


class ViewpointIn(serializers.Serializer):
    """A new camera station; in the record once the visit is."""

    name = serializers.CharField()
    description = serializers.CharField(required=False)
    latitude = serializers.FloatField(required=False, allow_null=True)
    longitude = serializers.FloatField(required=False, allow_null=True)
    bearing_deg = serializers.FloatField(required=False, allow_null=True)


class VisitIn(serializers.Serializer):
    client_id = serializers.UUIDField(help_text="Made by the sender.")
    bridge = serializers.CharField(
        required=False, help_text="The bridge's slug; none for a new find."
    )
    find = FindIn(required=False)
    viewpoints = ViewpointIn(many=True, required=False)
    date = serializers.CharField(help_text="EDTF, such as 2019-06-02 or 1908~.")
    basis = serializers.ChoiceField(Visit.Basis, required=False)
    people = serializers.CharField(required=False)
    access = serializers.CharField(required=False)
    not_reached = serializers.CharField(required=False)
    notes = serializers.CharField(required=False)
    is_danger = serializers.BooleanField(required=False)
    danger_note = serializers.CharField(required=False)
    observations = ObservationIn(many=True, required=False)
    photos = PhotoIn(many=True, required=False)
    answers_to = serializers.UUIDField(
        required=False,
        allow_null=True,
        help_text="A visit of the same surveyor that was returned with a question.",
    )


class UploadOut(serializers.ModelSerializer):
    """Where the server stands with one photo."""

    offset = serializers.IntegerField(source="received_bytes")
    is_complete = serializers.SerializerMethodField()

    class Meta:
        model = Photo
        fields = ["client_id", "offset", "size_bytes", "is_complete", "fault"]
        read_only_fields = fields

    def get_is_complete(self, photo) -> bool:
        return is_complete(photo)


class DangerOut(serializers.Serializer):
    """What to tell the surveyor at once; nothing of the structure but what they said."""

    is_reported = serializers.BooleanField(help_text="They said so themselves.")
    signs = serializers.ListField(
        child=serializers.CharField(),
        help_text="What in their answers may be dangerous, said or not.",
    )
    message = serializers.CharField()
    call = serializers.CharField(help_text="Whom the society calls; may be empty.")


class VisitOut(serializers.ModelSerializer):
    """A visit as its own surveyor sees it."""

    bridge = serializers.SlugRelatedField("slug", read_only=True)
    date = serializers.CharField(source="when", read_only=True)
    is_complete = serializers.SerializerMethodField(
        help_text="True when no photo of it is still to come."
    )
    photos = UploadOut(many=True, read_only=True)
    set_aside = Fault(
        many=True,
        read_only=True,
        help_text="What of the document could not be read. It is kept word for word.",
    )
    danger = serializers.SerializerMethodField()
    url = serializers.CharField(source="get_absolute_url", read_only=True)

    class Meta:
        model = Visit
        fields = [
            "client_id",
            "bridge",
            "date",
            "status",
            "question",
            "submitted_at",
            "is_complete",
            "photos",
            "set_aside",
            "danger",
            "url",
        ]
        read_only_fields = fields

    def get_is_complete(self, visit) -> bool:
        return all(is_complete(photo) for photo in visit.photos.all())

    @extend_schema_field(DangerOut(allow_null=True))
    def get_danger(self, visit):
        if not (visit.is_danger or visit.danger_signs):
            return None
        return {
            "is_reported": visit.is_danger,
            "signs": visit.danger_signs,
            "message": danger.LEAVE,
            "call": alarms.call_first(),
        }


def is_complete(photo):
    """True when all bytes are here, whether or not they make a picture."""
    return bool(photo.arrived_at or photo.fault)
