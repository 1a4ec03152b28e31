"""What the description of the API says of every call: how it may be refused."""

FAULTS = {"$ref": "#/components/schemas/Faults"}
SHAPE = {
    "type": "object",
    "description": "What every refusal looks like.",
    "required": ["errors"],
    "properties": {
        "errors": {"type": "array", "items": {"$ref": "#/components/schemas/Fault"}}
    },
}
FAULT = {
    "type": "object",
    "required": ["field", "code", "message"],
    "properties": {name: {"type": "string"} for name in ("field", "code", "message")},
}
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
    kept = result["components"].setdefault("schemas", {})
    kept.setdefault("Fault", FAULT)
    kept.setdefault("Faults", SHAPE)
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
