"""The facts of a visit as a whole, typed into the visit form."""

from django import forms
from django.core.exceptions import ValidationError
from django.utils import timezone

from shared import dates

from .models import Visit

TEXTS = ("people", "access", "not_reached", "notes", "danger_note")


def today():
    return timezone.localdate().isoformat()


class VisitForm(forms.Form):
    """Who looked, when and how; what is said of each element is the ``Sheet``'s."""

    client_id = forms.UUIDField(widget=forms.HiddenInput)
    answers_to = forms.UUIDField(widget=forms.HiddenInput, required=False)
    as_of = forms.CharField(widget=forms.HiddenInput, required=False)
    date = forms.CharField(
        label="Date",
        max_length=40,
        initial=today,
        help_text="Such as 2019-06-02; uncertain 1908? and about 1908~",
        error_messages={"required": "When was this? A visit needs a date."},
    )
    basis = forms.ChoiceField(
        label="What is it based on?",
        choices=Visit.Basis,
        initial=Visit.Basis.IN_PERSON,
    )
    people = forms.CharField(label="Who was there?", max_length=300, required=False)
    access = forms.CharField(
        label="How did you get to see it?",
        max_length=300,
        required=False,
        help_text="From the road, from the bank with the owner's leave …",
    )
    not_reached = forms.CharField(
        label="What could not be reached, and why?",
        max_length=400,
        required=False,
        widget=forms.Textarea(attrs={"rows": 2}),
    )
    notes = forms.CharField(
        label="Anything else",
        max_length=20_000,
        required=False,
        widget=forms.Textarea(attrs={"rows": 4}),
    )
    is_danger = forms.BooleanField(
        label="Something here is dangerous now", required=False
    )
    danger_note = forms.CharField(
        label="What is dangerous, and whom have you told?",
        max_length=20_000,
        required=False,
        widget=forms.Textarea(attrs={"rows": 3}),
    )

    def payload(self):
        """Return the part of the submitted document that this form gives.

        What cannot be read goes in as it was typed: the service says what is wrong
        with it, beside everything else that is wrong.
        """
        given = {name: self[name].data or "" for name in TEXTS}
        given |= {name: str(self[name].data or "") for name in ("client_id", "date")}
        given["basis"] = self["basis"].data or Visit.Basis.IN_PERSON.value
        given["is_danger"] = bool(self["is_danger"].data)
        if self["answers_to"].data:
            given["answers_to"] = str(self["answers_to"].data)
        return given

    def take(self, rows):
        """Put the service's faults beside their fields; return those not of this form."""
        rest = []
        for name, code, message in rows:
            if name not in self.fields:
                rest.append((name, code, message))
            elif name not in self.errors:
                self.add_error(name, ValidationError(message, code=code))
        return rest


class ReturnForm(forms.Form):
    """A reviewer's question to the surveyor."""

    question = forms.CharField(
        label="What should the surveyor look at or explain?",
        max_length=4_000,
        widget=forms.Textarea(attrs={"rows": 3}),
    )


def parsed_day(text):
    """Return the latest day of a date typed into an address, or None."""
    try:
        return dates.parse(text).latest if text else None
    except ValidationError:
        return None
