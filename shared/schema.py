"""How the API describes itself: every refusal it may give, what is tagged, examples."""

from drf_spectacular.openapi import AutoSchema
from rest_framework import serializers


class Fault(serializers.Serializer):
    field = serializers.CharField(allow_blank=True)
    code = serializers.CharField()
    message = serializers.CharField()


class Faults(serializers.Serializer):
    """What every refusal looks like."""

    errors = Fault(many=True)


FAULTS = {"$ref": "#/components/schemas/Faults"}
ANY = {
    "400": "Something in it cannot be read.",
    "403": "It is not for you, or was sent from elsewhere.",
    "404": "There is nothing here that you may see.",
    "405": "This is not done here.",
    "406": "The API answers in JSON.",
    "429": "Too often. Wait a minute.",
    "503": "Others are writing. Try again.",
    "507": "There is no room left.",
}
WITH_BODY = {
    "413": "Too much at once.",
    "415": "Not a kind of content that is read here.",
}


def document_faults(result, generator, request, public):
    """Add to each call the refusals that any call may meet, in their one shape."""
    for path in result["paths"].values():
        for operation in path.values():
            said = operation.setdefault("responses", {})
            for status, words in (
                ANY | (WITH_BODY if "requestBody" in operation else {})
            ).items():
                content = {"application/json": {"schema": FAULTS}}
                if "content" not in said.get(status, {}):
                    said[status] = {"description": words, "content": content}
            operation["responses"] = dict(sorted(said.items()))
    return result


class Schema(AutoSchema):
    """Adds the examples and tags of which a view itself tells.

    A view's ``examples`` is a dictionary: the method to {"request" or a status: value}.
    ``is_tagged`` says that its answers carry an ETag (``shared.api.tagged``).
    """

    def get_operation(self, *args, **kwargs):
        operation = super().get_operation(*args, **kwargs)
        example = self._examples().get("request")
        if operation is not None and example is not None:
            for content in operation["requestBody"]["content"].values():
                content.setdefault("example", example)
        return operation

    def _examples(self):
        return getattr(self.view, "examples", {}).get(self.method, {})

    def _get_response_bodies(self, direction="response"):
        bodies = super()._get_response_bodies(direction)
        if direction != "response":
            return bodies
        if self.method == "GET" and getattr(self.view, "is_tagged", False):
            bodies["200"].setdefault("headers", {})["ETag"] = {
                "schema": {"type": "string"},
                "description": "Send it back as If-None-Match to be spared the same.",
            }
            bodies["304"] = {"description": "Not changed since the ETag given."}
        for status, example in self._examples().items():
            for content in bodies.get(status, {}).get("content", {}).values():
                content.setdefault("example", example)
        return bodies
