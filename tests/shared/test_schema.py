"""The API's description: every call has its refusals and examples, and they are true."""

import jsonschema
import pytest
from drf_spectacular.generators import SchemaGenerator

# Its body is a check file, of which every truss on record gives one.
NO_EXAMPLE = {"/api/run-check/"}


@pytest.fixture(scope="module")
def schema():
    return SchemaGenerator().get_schema(request=None, public=True)


def operations(schema):
    for path, methods in schema["paths"].items():
        for method, operation in methods.items():
            yield path, method, operation


def plain(part):
    """Write ``nullable`` (OpenAPI 3.0) as JSON Schema says it."""
    if isinstance(part, list):
        return [plain(one) for one in part]
    if not isinstance(part, dict):
        return part
    made = {key: plain(value) for key, value in part.items() if key != "nullable"}
    return {"anyOf": [made, {"type": "null"}]} if part.get("nullable") else made


def test_every_call_tells_of_its_refusals_in_the_one_shape(schema):
    for path, method, operation in operations(schema):
        responses = operation["responses"]
        assert "406" in responses, (path, method)
        if "{" in path:
            assert "404" in responses, (path, method)
        if method != "get":
            assert {"400", "403", "413", "415", "429"} <= set(responses), (path, method)
        for status, told in responses.items():
            if status >= "400":
                (content,) = told["content"].values()
                assert content["schema"]["$ref"].endswith("Faults"), (path, status)


def test_what_can_be_kept_carries_a_tag(schema):
    tagged = {
        path
        for path, _, operation in operations(schema)
        if "304" in operation["responses"]
    }
    assert tagged == {
        "/api/bridges/",
        "/api/bridges/map/",
        "/api/bridges/{slug}/",
        "/api/bridges/{slug}/changes/",
        "/api/bridges/{slug}/configuration/",
    }


def test_every_call_has_examples_and_they_fit_their_shapes(schema):
    components = plain(schema["components"])
    for path, method, operation in operations(schema):
        if path in NO_EXAMPLE:
            continue
        bodies = [
            told for status, told in operation["responses"].items() if status < "300"
        ]
        sent = operation.get("requestBody")
        if sent and "application/json" in sent["content"]:
            bodies.append(sent)
        for body in bodies:
            (content,) = body["content"].values()
            assert "example" in content, (path, method)
            shape = {**plain(content["schema"]), "components": components}
            jsonschema.validate(content["example"], shape)
