"""What a phone asks of review: which questions wait for its owner, and answers them."""

from django.http import Http404
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.response import Response

from . import api_examples, replies, submissions
from .api import EXPECTED, FieldView
from .models import Visit
from .serializers import Faults, VisitOut


class AskedOfOut(serializers.Serializer):
    """A question about one observation."""

    id = serializers.IntegerField(source="pk")
    element = serializers.CharField(source="element.path")
    name = serializers.SerializerMethodField()
    answer = serializers.CharField(help_text="What the surveyor had said of it.")
    question = serializers.CharField()

    def get_name(self, one) -> str:
        element = one.element
        if element.member and element.truss_line_id:
            return f"{element.member} {element.truss_line.name.lower()}"
        return element.name


class AskedOut(serializers.Serializer):
    """What one visit of one's own is asked."""

    visit = serializers.UUIDField(source="visit.client_id")
    bridge = serializers.CharField(source="visit.bridge.slug")
    bridge_name = serializers.CharField(source="visit.bridge.name")
    date = serializers.CharField(source="visit.when")
    status = serializers.ChoiceField(Visit.Status, source="visit.status")
    asked_at = serializers.DateTimeField(source="visit.reviewed_at")
    question = serializers.CharField(help_text="Of the visit as a whole; may be empty.")
    observations = AskedOfOut(many=True)


class ObservationAnswerIn(serializers.Serializer):
    observation = serializers.IntegerField(min_value=1)
    text = serializers.CharField(max_length=replies.MOST_TEXT)


class AnswersIn(serializers.Serializer):
    """Answers in words; the same ``client_id`` sent again changes nothing."""

    client_id = serializers.UUIDField()
    text = serializers.CharField(
        required=False, allow_blank=True, max_length=replies.MOST_TEXT
    )
    answers = ObservationAnswerIn(many=True, required=False)


class Questions(FieldView):
    """What reviewers have asked of one's own visits and wait to hear."""

    examples = api_examples.QUESTIONS

    @extend_schema(
        operation_id="questions_list",
        responses={200: AskedOut(many=True), 401: Faults, 403: Faults},
    )
    def get(self, request):
        asked = AskedOut(replies.open_questions(request.user), many=True).data
        return Response(asked, headers={"Cache-Control": "no-store"})


class Answers(FieldView):
    """Answer what was asked of one visit, in words."""

    examples = api_examples.ANSWERS

    @extend_schema(
        operation_id="visits_answer",
        parameters=[EXPECTED],
        request=AnswersIn,
        responses={
            200: VisitOut,
            400: Faults,
            401: Faults,
            403: Faults,
            404: Faults,
            409: Faults,
        },
    )
    def post(self, request, client_id):
        given = AnswersIn(data=request.data)
        given.is_valid(raise_exception=True)
        read = given.validated_data
        visit = replies.answer(
            visit=own_visit(request.user, client_id),
            person=request.user,
            answers={
                one["observation"]: one["text"] for one in read.get("answers", [])
            },
            text=read.get("text", ""),
            client_id=read["client_id"],
        )
        return Response(VisitOut(visit).data)


def own_visit(person, client_id):
    """A visit of one's own by the id it was sent under; raises ``Http404``."""
    ids = [client_id, submissions.own_id(client_id, person)]
    own = Visit.objects.filter(surveyor=person, client_id__in=ids)
    visit = own.select_related("bridge").prefetch_related("photos").first()
    if visit is None:
        raise Http404
    return visit
