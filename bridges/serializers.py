"""What the API says of bridges."""

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from shared import policy
from shared.dates import display

from .models import (
    Attribution,
    Bridge,
    Builder,
    Claim,
    Confidence,
    LifeEvent,
    Link,
    Plate,
    Source,
    Span,
    Standing,
    TrussLine,
)


class EdtfOut(serializers.Serializer):
    """A date as written (EDTF), in words, and the days it may reach."""

    edtf = serializers.CharField(allow_blank=True)
    words = serializers.CharField()
    earliest = serializers.DateField(allow_null=True)
    latest = serializers.DateField(allow_null=True)


def edtf_of(row, name):
    text = getattr(row, name)
    return {
        "edtf": text,
        "words": display(text),
        "earliest": getattr(row, f"{name}_earliest"),
        "latest": getattr(row, f"{name}_latest"),
    }


class Dated(serializers.Field):
    """A read-only ``EdtfOut`` of the field of the same name."""

    def __init__(self, **facts):
        super().__init__(read_only=True, source="*", **facts)

    def to_representation(self, row):
        return edtf_of(row, self.field_name)


@extend_schema_field(EdtfOut)
class EdtfFieldOut(Dated):
    pass


class PositionOut(serializers.Serializer):
    """Degrees, WGS 84. Not exact: the middle of a square of about 2 miles."""

    latitude = serializers.FloatField()
    longitude = serializers.FloatField()
    is_exact = serializers.BooleanField()


@extend_schema_field(PositionOut)
class PositionField(serializers.Field):
    def __init__(self, **facts):
        super().__init__(read_only=True, source="*", **facts)

    def to_representation(self, bridge):
        latitude, longitude, is_exact = bridge.position_for(_person(self))
        return {"latitude": latitude, "longitude": longitude, "is_exact": is_exact}


def _person(part):
    request = part.context.get("request")
    return getattr(request, "user", None)


class StandingOut(serializers.ModelSerializer):
    changed_parts = serializers.SerializerMethodField()

    class Meta:
        model = Standing
        fields = [
            "family",
            "form",
            "deck_position",
            "connection",
            "material",
            "span_count",
            "longest_span_ft",
            "builder_names",
            "deck",
            "posted_tons",
            "visit_count",
            "last_visited",
            "last_changed",
            "changed_parts",
        ]

    def get_changed_parts(self, standing) -> list[str]:
        return [word for word in standing.changed_parts.split(",") if word]


class BridgeOut(serializers.ModelSerializer):
    """One bridge as in a list."""

    url = serializers.CharField(source="get_absolute_url", read_only=True)
    built = EdtfFieldOut()
    position = PositionField()
    standing = StandingOut(read_only=True)

    class Meta:
        model = Bridge
        fields = [
            "slug",
            "number",
            "name",
            "also_known_as",
            "url",
            "county",
            "town",
            "road",
            "crossing",
            "status",
            "listing",
            "built",
            "built_confidence",
            "position",
            "standing",
        ]

    def to_representation(self, bridge):
        told = super().to_representation(bridge)
        # A bridge that nobody has refreshed yet has none; it is told as not known.
        if told["standing"] is None:
            told["standing"] = StandingOut(Standing()).data
        return told


class SourceOut(serializers.ModelSerializer):
    date = EdtfFieldOut()
    url = serializers.CharField(read_only=True)

    class Meta:
        model = Source
        fields = ["id", "kind", "title", "author", "date", "held_by", "locator", "url"]


class BuilderOut(serializers.ModelSerializer):
    class Meta:
        model = Builder
        fields = ["slug", "name", "place"]


class AttributionOut(serializers.ModelSerializer):
    builder = BuilderOut()

    class Meta:
        model = Attribution
        fields = ["role", "builder", "confidence", "source"]


class FacetOut(serializers.Serializer):
    value = serializers.CharField()
    confidence = serializers.ChoiceField(choices=Confidence.choices)
    source = serializers.IntegerField(allow_null=True)


class TrussLineOut(serializers.ModelSerializer):
    address = serializers.CharField(read_only=True)

    class Meta:
        model = TrussLine
        fields = ["key", "name", "address"]


@extend_schema_field(FacetOut)
class FacetField(serializers.Field):
    def __init__(self, **facts):
        super().__init__(read_only=True, source="*", **facts)

    def to_representation(self, span):
        name = self.field_name
        return {
            "value": getattr(span, name),
            "confidence": getattr(span, f"{name}_confidence"),
            "source": getattr(span, f"{name}_source_id"),
        }


class SpanOut(serializers.ModelSerializer):
    form = FacetField()
    deck_position = FacetField()
    connection = FacetField()
    material = FacetField()
    made_in = EdtfFieldOut()
    truss_lines = TrussLineOut(many=True)

    class Meta:
        model = Span
        fields = [
            "number",
            "name",
            "form",
            "deck_position",
            "connection",
            "material",
            "made_in",
            "length_ft",
            "length_as_entered",
            "panels",
            "panel_length_ft",
            "panel_lengths_ft",
            "depth_ft",
            "depth_as_entered",
            "roadway_ft",
            "trusses_apart_ft",
            "measured_how",
            "origin_end",
            "truss_lines",
        ]


class PlateOut(serializers.ModelSerializer):
    builder = BuilderOut(allow_null=True)
    whereabouts = serializers.SerializerMethodField()

    class Meta:
        model = Plate
        fields = ["key", "kind", "location", "transcription", "builder", "whereabouts"]

    def get_whereabouts(self, plate) -> str | None:
        """Where a plate is kept is told to the society's people only."""
        return plate.whereabouts if policy.can_log_visits(_person(self)) else None


class ClaimOut(serializers.ModelSerializer):
    class Meta:
        model = Claim
        fields = ["about", "value", "source", "confidence", "is_chosen", "reason"]


class EventOut(serializers.ModelSerializer):
    when = EdtfFieldOut()

    class Meta:
        model = LifeEvent
        fields = ["kind", "when", "text", "confidence", "source"]


class LinkOut(serializers.ModelSerializer):
    class Meta:
        model = Link
        fields = ["kind", "title", "url", "starts_at_s"]


class BridgeWholeOut(BridgeOut):
    """One bridge with what it is made of and who says so.

    ``source`` numbers point into ``sources``. ``access_notes``, ``owner_contact`` and
    where a plate is kept are null for people who are not the society's.
    """

    lost = EdtfFieldOut()
    access_notes = serializers.SerializerMethodField()
    owner_contact = serializers.SerializerMethodField()
    spans = SpanOut(many=True)
    attributions = AttributionOut(many=True)
    plates = PlateOut(many=True)
    claims = ClaimOut(many=True)
    events = EventOut(many=True)
    links = LinkOut(many=True)
    sources = serializers.SerializerMethodField()

    class Meta:
        model = Bridge
        fields = [
            *BridgeOut.Meta.fields,
            "lost",
            "summary",
            "owner",
            "owner_contact",
            "access_notes",
            "spans",
            "attributions",
            "plates",
            "claims",
            "events",
            "links",
            "sources",
        ]

    def _society(self, text):
        return text if policy.can_log_visits(_person(self)) else None

    def get_access_notes(self, bridge) -> str | None:
        return self._society(bridge.access_notes)

    def get_owner_contact(self, bridge) -> str | None:
        return self._society(bridge.owner_contact)

    @extend_schema_field(SourceOut(many=True))
    def get_sources(self, bridge):
        found = {}
        for row in [*bridge.attributions.all(), *bridge.claims.all()]:
            found[row.source_id] = row.source
        for event in bridge.events.all():
            found[event.source_id] = event.source
        for span in bridge.spans.all():
            for name in ("form", "deck_position", "connection", "material"):
                source = getattr(span, f"{name}_source")
                found[getattr(span, f"{name}_source_id")] = source
        rows = sorted(
            (source for source in found.values() if source is not None),
            key=lambda source: (source.title, source.pk),
        )
        return SourceOut(rows, many=True).data


class PointGeometryOut(serializers.Serializer):
    type = serializers.ChoiceField(choices=["Point"])
    coordinates = serializers.ListField(
        child=serializers.FloatField(), min_length=2, max_length=2
    )


class MarkOut(serializers.Serializer):
    """A bridge (``kind`` bridge) or a number of them (``kind`` cluster)."""

    kind = serializers.ChoiceField(choices=["bridge", "cluster"])
    count = serializers.IntegerField()
    slug = serializers.SlugField(required=False)
    name = serializers.CharField(required=False)
    url = serializers.CharField(required=False)
    number = serializers.CharField(required=False)
    family = serializers.CharField(required=False)
    form = serializers.CharField(required=False)
    status = serializers.CharField(required=False)
    shape = serializers.ChoiceField(
        choices=["standing", "out-of-use", "moved", "lost"], required=False
    )
    status_words = serializers.CharField(required=False)
    built = serializers.CharField(required=False)
    place = serializers.CharField(required=False)
    is_exact = serializers.BooleanField(required=False)
    changed = serializers.DateField(required=False, allow_null=True)
    changed_lately = serializers.BooleanField(required=False)


class FeatureOut(serializers.Serializer):
    type = serializers.ChoiceField(choices=["Feature"])
    geometry = PointGeometryOut()
    properties = MarkOut()


class MapOut(serializers.Serializer):
    """GeoJSON. ``total`` bridges match the filters, ``in_view`` of them are shown."""

    type = serializers.ChoiceField(choices=["FeatureCollection"])
    total = serializers.IntegerField()
    in_view = serializers.IntegerField()
    version = serializers.IntegerField()
    features = FeatureOut(many=True)
