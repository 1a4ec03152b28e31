"""Every fault of the API has one shape."""

import json

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.http import Http404
from rest_framework import exceptions, serializers
from rest_framework.response import Response
from rest_framework.test import APIRequestFactory
from rest_framework.views import APIView

from shared import api

requests = APIRequestFactory()


class Size(serializers.Serializer):
    thickness_in = serializers.FloatField(min_value=0)


class Visit(serializers.Serializer):
    title = serializers.CharField()
    sizes = Size(many=True)

    def validate(self, data):
        if data["title"] == "whole":
            raise serializers.ValidationError("The whole is wrong.", code="whole")
        return data


def answer(fault=None, body=None, text=None):
    """Return (status, body) of an endpoint that raises ``fault`` or reads a body."""

    class Endpoint(APIView):
        authentication_classes = permission_classes = ()

        def post(self, request):
            if fault:
                raise fault
            Visit(data=request.data).is_valid(raise_exception=True)
            return Response({})

    content = json.dumps(body) if text is None else text
    request = requests.post("/", content, content_type="application/json")
    response = Endpoint.as_view()(request)
    response.render()
    return response.status_code, json.loads(response.content)


def rows(body):
    assert list(body) == ["errors"]
    for row in body["errors"]:
        assert set(row) == {"field", "code", "message"}
        assert row["message"]
    return [(row["field"], row["code"]) for row in body["errors"]]


def test_a_fault_deep_in_a_body_is_named_by_its_dotted_path():
    status, body = answer(
        body={"title": "x", "sizes": [{"thickness_in": 1}, {"thickness_in": -1}]}
    )
    assert status == 400
    assert rows(body) == [("sizes.1.thickness_in", "min_value")]


def test_every_fault_of_a_body_is_told_at_once():
    status, body = answer(body={"sizes": [{}, {"thickness_in": "thick"}]})
    assert status == 400
    assert rows(body) == [
        ("title", "required"),
        ("sizes.0.thickness_in", "required"),
        ("sizes.1.thickness_in", "invalid"),
    ]


def test_a_fault_of_the_whole_names_no_field():
    assert rows(answer(body={"title": "whole", "sizes": []})[1]) == [("", "whole")]


@pytest.mark.parametrize(
    "fault, status, expected",
    [
        (
            ValidationError({"date": ValidationError("Bad date.", code="date")}),
            400,
            [("date", "date")],
        ),
        (
            ValidationError(
                [ValidationError("One.", "one"), ValidationError("Two.", "two")]
            ),
            400,
            [("", "one"), ("", "two")],
        ),
        (ValidationError({"__all__": "Wrong."}), 400, [("", "invalid")]),
        (Http404("no such bridge"), 404, [("", "not_found")]),
        (PermissionDenied(), 403, [("", "permission_denied")]),
        (PermissionDenied("Another's."), 403, [("", "permission_denied")]),
        (exceptions.NotAuthenticated(), 403, [("", "not_authenticated")]),
        (exceptions.Throttled(wait=3), 429, [("", "throttled")]),
        (api.Conflict(), 409, [("", "conflict")]),
        (api.Unprocessable(), 422, [("", "other_content")]),
    ],
)
def test_faults_raised_anywhere_have_the_same_shape(fault, status, expected):
    got, body = answer(fault)
    assert (got, rows(body)) == (status, expected)


def test_a_refusal_keeps_its_own_words():
    assert (
        answer(PermissionDenied("Another's."))[1]["errors"][0]["message"]
        == "Another's."
    )


def test_a_fault_of_the_site_itself_is_not_dressed_as_the_callers():
    with pytest.raises(ZeroDivisionError):
        answer(ZeroDivisionError())


@pytest.mark.parametrize(
    "text",
    [
        "{",
        "[" * 100_000,
        '{"title": "\\u0000", "sizes": []}',
        '{"title": "\\ud800", "sizes": []}',
        '{"\\u0000": "", "sizes": []}',
        '{"title": [{"x": "\\udfff"}]}',
        '{"title": NaN}',
        b"\xff\xfe",
    ],
)
def test_a_body_that_no_database_could_keep_is_refused_and_breaks_nothing(text):
    status, body = answer(text=text)
    assert status == 400
    assert rows(body) == [("", "parse_error")]


def test_pages_of_a_list_are_bounded():
    assert (api.Pages.page_size, api.Pages.max_page_size) == (50, 100)


@pytest.mark.parametrize("path", ["/api/", "/api/no-such/", "/api/uploads/not-an-id/"])
def test_an_address_the_api_does_not_have_is_told_in_its_one_shape(client, db, path):
    answer = client.get(path)
    assert answer.status_code == 404
    assert answer.json()["errors"][0]["code"] == "not_found"


def test_what_no_view_may_read_is_told_in_the_one_shape(client, db):
    answer = client.get("/api/session/", HTTP_HOST="evil.example")
    assert answer.status_code == 400
    assert answer.json()["errors"][0]["code"] == "unreadable"


def test_every_call_says_how_it_may_be_refused(client, db):
    schema = client.get("/api/schema/?format=json").json()
    for path, methods in schema["paths"].items():
        for method, told in methods.items():
            assert {"400", "403", "404", "429", "507"} <= set(told["responses"]), path
            assert ("413" in told["responses"]) is ("requestBody" in told), method


@pytest.mark.parametrize(
    "asked, status", [("", 200), ("7", 200), ("x", 400), ("0", 400)]
)
def test_a_size_of_page_that_is_none_is_refused(client, db, asked, status):
    answer = client.get("/api/bridges/", {"page_size": asked})
    assert answer.status_code == status
    if status == 400:
        assert answer.json()["errors"][0]["field"] == "page_size"
