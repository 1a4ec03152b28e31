"""Filling in a page's form as a browser without a script would send it."""

from html.parser import HTMLParser


class _Form(HTMLParser):
    """Gathers the successful controls of the forms on a page."""

    def __init__(self):
        super().__init__()
        self.forms = []
        self._select = self._area = None

    def handle_starttag(self, tag, attributes):
        facts = dict(attributes)
        if tag == "form":
            self.forms.append({"method": facts.get("method", "get"), "fields": []})
        elif not self.forms:
            return
        elif tag == "input" and facts.get("name"):
            kind = facts.get("type", "text")
            ticked = kind not in ("radio", "checkbox") or "checked" in facts
            if ticked and kind not in ("file", "submit"):
                value = facts.get("value") or ""
                if kind == "checkbox" and "value" not in facts:
                    value = "on"
                self._add(facts["name"], value)
        elif tag == "select":
            self._select = [facts.get("name"), None]
        elif tag == "option" and self._select is not None:
            value = facts.get("value") or ""
            if "selected" in facts or self._select[1] is None:
                self._select[1] = value
        elif tag == "textarea":
            self._area = [facts.get("name"), ""]

    def handle_endtag(self, tag):
        if tag == "select" and self._select and self._select[0]:
            self._add(self._select[0], self._select[1] or "")
        if tag == "textarea" and self._area:
            self._add(self._area[0], self._area[1].removeprefix("\n"))
            self._area = None
        if tag == "select":
            self._select = None

    def handle_data(self, data):
        if self._area:
            self._area[1] += data

    def _add(self, name, value):
        self.forms[-1]["fields"].append((name, value))


def filled(response, marker="client_id"):
    """Return ``{name: [values]}`` of the form on a page that has a field ``marker``."""
    reader = _Form()
    reader.feed(response.content.decode())
    form = next(f for f in reader.forms if marker in dict(f["fields"]))
    fields = {}
    for name, value in form["fields"]:
        fields.setdefault(name, []).append(value)
    fields.pop("csrfmiddlewaretoken", None)
    return fields
