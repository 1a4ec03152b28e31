"""Configurations, changes with effects, and the check of a check file."""

import datetime

from django.shortcuts import get_object_or_404
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.parsers import BaseParser
from rest_framework.permissions import AllowAny
from rest_framework.response import Response
from rest_framework.views import APIView

from analysis.engine import checkfile
from analysis.engine.answer import answer
from analysis.engine.errors import EngineError
from bridges.models import Bridge
from shared import limits
from shared.api import faults, tagged
from shared.schema import Faults
from surveys import record as records
from surveys import states

from . import api_examples, services
from .caution import CAUTION

ANONYMOUS_BYTES = 64 * 1024
SIGNED_IN_BYTES = 1024 * 1024


class PartOut(serializers.Serializer):
    element = serializers.CharField()
    name = serializers.CharField()
    kind = serializers.CharField()
    is_gone = serializers.BooleanField()
    state = serializers.JSONField(allow_null=True)
    in_words = serializers.CharField()
    certainty = serializers.CharField()
    doubt = serializers.CharField(allow_blank=True)
    said_by = serializers.UUIDField(allow_null=True)
    said_on = serializers.DateField(allow_null=True)
    seen_by = serializers.UUIDField()
    seen_on = serializers.DateField()
    age_days = serializers.IntegerField()


class ConfigurationOut(serializers.Serializer):
    bridge = serializers.SlugField()
    as_of = serializers.DateField()
    parts = PartOut(many=True)


class ShareOut(serializers.Serializer):
    truss_line = serializers.CharField()
    alone = serializers.DictField(child=serializers.FloatField(allow_null=True))
    share = serializers.DictField(child=serializers.FloatField(allow_null=True))


class ChangeOut(serializers.Serializer):
    key = serializers.CharField()
    part = serializers.CharField()
    kinds = serializers.ListField(child=serializers.CharField())
    elements = serializers.ListField(child=serializers.CharField())
    title = serializers.CharField()
    sentence = serializers.CharField()
    certainty = serializers.CharField()
    doubt = serializers.CharField(allow_blank=True)
    effects = ShareOut(many=True)


class LineEffectOut(serializers.Serializer):
    truss_line = serializers.CharField()
    before = serializers.JSONField()
    after = serializers.JSONField()
    difference = serializers.JSONField()
    sentences = serializers.ListField(child=serializers.CharField())
    gaps = serializers.ListField(child=serializers.CharField())
    assumptions = serializers.ListField(child=serializers.CharField())


class ChangesOut(serializers.Serializer):
    caution = serializers.CharField()
    changes = ChangeOut(many=True)
    truss_lines = LineEffectOut(many=True)


def _bridge(request, slug):
    return get_object_or_404(Bridge.objects.visible_to(request.user), slug=slug)


def _as_of(request):
    text = request.query_params.get("as_of")
    if not text:
        return datetime.date.today()
    try:
        return datetime.date.fromisoformat(text)
    except ValueError:
        raise serializers.ValidationError(
            {"as_of": ["Write a day as 2019-06-02."]}
        ) from None


@tagged
class Configuration(APIView):
    """What a bridge is made of as of a day, each part with where it is known from."""

    permission_classes = [AllowAny]
    examples = api_examples.CONFIGURATION

    @extend_schema(
        parameters=[OpenApiParameter("as_of", OpenApiTypes.DATE)],
        responses={200: ConfigurationOut, 400: Faults, 404: Faults},
    )
    def get(self, request, slug):
        as_of = _as_of(request)
        record = records.load(_bridge(request, slug))
        parts = record.configuration(as_of)
        rows = [
            _part(record.by_path[path], part, as_of)
            for path, part in parts.items()
            if path in record.by_path
        ]
        rows.sort(key=lambda row: record.by_path[row["element"]].position)
        return Response({"bridge": slug, "as_of": as_of.isoformat(), "parts": rows})


def _part(element, part, as_of):
    return {
        "element": part.element,
        "name": element.name,
        "kind": element.kind,
        "is_gone": part.is_gone,
        "state": part.state,
        "in_words": "not there"
        if part.is_gone
        else states.describe(element.kind, part.state),
        "certainty": part.certainty,
        "doubt": part.doubt,
        "said_by": part.said_by,
        "said_on": part.said_on,
        "seen_by": part.seen_by,
        "seen_on": part.seen_on,
        "age_days": part.age_days(as_of),
    }


@tagged
class Changes(APIView):
    """What changed between two accepted visits, and what each change did."""

    permission_classes = [AllowAny]
    examples = api_examples.CHANGES

    @extend_schema(
        parameters=[
            OpenApiParameter("from", OpenApiTypes.UUID, required=True),
            OpenApiParameter("to", OpenApiTypes.UUID, required=True),
        ],
        responses={200: ChangesOut, 400: Faults, 404: Faults},
    )
    def get(self, request, slug):
        record = records.load(_bridge(request, slug))
        earlier, later = (_visit(record, request, name) for name in ("from", "to"))
        if record.visits.index(earlier) > record.visits.index(later):
            raise serializers.ValidationError(
                {"to": ["This visit is earlier than the one it is compared with."]}
            )
        changes = record.changes(earlier, later)
        told = services.effects_between(record, earlier, later)
        return Response(
            {
                "caution": CAUTION,
                "changes": [_change(change, told) for change in changes],
                "truss_lines": [_line(line, result) for line, _, result in told],
            }
        )


def _visit(record, request, name):
    found = record.visit_by_key.get(request.query_params.get(name, ""))
    if found is None:
        raise serializers.ValidationError(
            {name: ["Give the id of an accepted visit of this bridge."]}
        )
    return found


def _change(change, told):
    effects = [
        {
            "truss_line": line.address,
            "alone": {k: (share[k] or {}).get("alone") for k in _measured(share)},
            "share": {k: (share[k] or {}).get("share") for k in _measured(share)},
        }
        for line, _, result in told
        for share in result["shares"]
        if change.key in share["keys"]
    ]
    return {
        "key": change.key,
        "part": change.part,
        "kinds": list(change.kinds),
        "elements": list(change.paths),
        "title": change.title.rstrip(","),
        "sentence": change.sentence,
        "certainty": change.certainty,
        "doubt": change.doubt,
        "effects": effects,
    }


def _measured(share):
    return [key for key in ("limit_tons", "rating", "dead_tons") if key in share]


def _line(line, result):
    return {
        "truss_line": line.address,
        "before": result.get("before"),
        "after": result.get("after"),
        "difference": result.get("difference"),
        "sentences": result["sentences"],
        "gaps": result["gaps"],
        "assumptions": result["assumptions"],
    }


class Unread(BaseParser):
    """Leaves the body to the engine's own reader, which names every fault's path."""

    media_type = "application/json"

    def parse(self, stream, media_type=None, parser_context=None):
        return stream.read(SIGNED_IN_BYTES + 1)


class AnonymousRate(limits.Throttle):
    """Limits callers who are not signed in."""

    def allow_request(self, request, view):
        return bool(request.user.is_authenticated) or super().allow_request(
            request, view
        )


class RunCheck(APIView):
    """Answer one check file: forces, resistances, ratings, warnings.

    Load figures are screening estimates, not a load rating and not for posting. Every
    truss of the record gives its own check file, to begin from, at
    ``/bridges/<slug>/trusses/<truss-line>/check-file.json``.
    """

    permission_classes = [AllowAny]
    parser_classes = [Unread]
    throttle_classes = [AnonymousRate]
    limit_name = "run-check"

    @extend_schema(
        request=OpenApiTypes.OBJECT,
        responses={
            200: OpenApiTypes.OBJECT,
            400: Faults,
            413: Faults,
            415: Faults,
            429: Faults,
        },
    )
    def post(self, request):
        body = request.data
        most = SIGNED_IN_BYTES if request.user.is_authenticated else ANONYMOUS_BYTES
        if not isinstance(body, bytes):
            body = b""
        if len(body) > most:
            message = f"A check file may be at most {most // 1024} kB here."
            return Response(faults(("", "too_large", message)), status=413)
        try:
            return Response(answer(checkfile.parse(body)))
        except checkfile.CheckFileError as error:
            rows = [(one.path, one.code, one.message) for one in error.faults]
            return Response(faults(*rows), status=400)
        except EngineError as error:
            return Response(faults(("", "engine", str(error))), status=400)
