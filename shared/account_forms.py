"""Forms of accounts: a link by mail, joining, one's own name, the keeper's forms."""

from django import forms
from django.contrib.auth.forms import BaseUserCreationForm

from . import policy
from .models import Person

ROLES = {
    policy.VOLUNTEER: "Volunteer: logs visits",
    policy.REVIEWER: "Reviewer: accepts visits into the record",
    policy.OFFICER: "Officer: writes dossiers",
    policy.KEEPER: "Keeper: looks after the site, and may do all of it",
}


class LinkForm(forms.Form):
    email = forms.EmailField(
        label="Mail address",
        widget=forms.EmailInput(attrs={"autocomplete": "email"}),
    )


class JoinForm(BaseUserCreationForm):
    class Meta:
        model = Person
        fields = ["username", "credit_name", "is_credited"]
        labels = {
            "username": "Name to sign in with",
            "credit_name": "Name printed beside your work",
        }
        help_texts = {
            "username": "Letters, digits and @ . + - _; no spaces.",
            "credit_name": "As it should stand in a dossier: “Ada Reed”.",
        }


class OwnForm(forms.ModelForm):
    class Meta:
        model = Person
        fields = ["credit_name", "is_credited", "email"]
        labels = {
            "credit_name": "Name printed beside your work",
            "email": "Mail address",
        }
        help_texts = {
            "credit_name": "As it should stand in a dossier: “Ada Reed”.",
            "email": "For links to sign in by, and what you asked to be told of.",
        }


class LeaveForm(forms.Form):
    keep_credit = forms.BooleanField(
        label="Keep my name beside what I recorded", required=False
    )
    is_sure = forms.BooleanField(
        label="I am sure: this cannot be undone",
        error_messages={"required": "Tick this to close the account."},
    )


class GroupsForm(forms.Form):
    groups = forms.MultipleChoiceField(
        label="May do",
        choices=list(ROLES.items()),
        widget=forms.CheckboxSelectMultiple,
        required=False,
    )


class InviteForm(forms.Form):
    email = forms.EmailField(label="Mail address")
    groups = forms.MultipleChoiceField(
        label="May do",
        choices=list(ROLES.items()),
        widget=forms.CheckboxSelectMultiple,
        error_messages={"required": "Say what they may do."},
    )
