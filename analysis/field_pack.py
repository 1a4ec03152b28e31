"""What a phone takes along: bridges, rules and questions in one answer."""

from django.utils import timezone
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.response import Response

from bridges.models import Bridge
from surveys import pack, record
from surveys.api import EXPECTED, FieldView
from surveys.serializers import Faults

from . import api_examples, measure

MOST_BRIDGES = 25


class FieldPackOut(serializers.Serializer):
    """What is needed to log a visit with no signal."""

    made_at = serializers.DateTimeField()
    user_id = serializers.IntegerField()
    rules = serializers.JSONField(help_text="What each kind of element may be.")
    bridges = serializers.ListField(child=serializers.JSONField())
    missing = serializers.ListField(
        child=serializers.CharField(), help_text="Asked for, and not in the record."
    )
    questions = serializers.ListField(child=serializers.JSONField())


def _taken(held):
    """Return one bridge's pack with what is worth measuring there, best first."""
    asked = measure.measure_next(held.bridge, record=held)
    return {
        **pack.bridge_pack(held),
        "measure_next": [
            {"words": one["words"], "why": one["why"], "paths": one["paths"]}
            for one in asked
        ],
    }


class FieldPack(FieldView):
    """What a phone needs of some bridges to log a visit with no signal."""

    examples = api_examples.FIELD_PACK

    @extend_schema(
        operation_id="field_pack",
        parameters=[
            OpenApiParameter(
                "bridges",
                description=f"Slugs with commas between, at most {MOST_BRIDGES}.",
            ),
            EXPECTED,
        ],
        responses={
            200: FieldPackOut,
            400: Faults,
            401: Faults,
            403: Faults,
            409: Faults,
        },
    )
    def get(self, request):
        asked = request.query_params.get("bridges", "").split(",")
        slugs = list(dict.fromkeys(slug for slug in asked if slug))
        if len(slugs) > MOST_BRIDGES:
            raise serializers.ValidationError(
                {"bridges": [f"Ask for at most {MOST_BRIDGES} at once."]}
            )
        visible = Bridge.objects.visible_to(request.user).filter(slug__in=slugs)
        found = list(visible.prefetch_related("spans"))
        records = record.load_many(found)
        facts = {
            "made_at": timezone.now(),
            "user_id": request.user.pk,
            "rules": pack.rules(),
            "bridges": [_taken(records[one.pk]) for one in found],
            "missing": sorted(set(slugs) - {one.slug for one in found}),
            "questions": pack.questions(request.user),
        }
        return Response(
            FieldPackOut(facts).data, headers={"Cache-Control": "private, no-store"}
        )
