"""The forms by which a list is sent and a row is answered for."""

from django import forms
from django.conf import settings

from bridges.models import Import

# Without a worker the reading happens inside the request, which a server cuts short.
MOST_INLINE_BYTES = 4 * 1024 * 1024
MOST_BYTES = 400 * 1024 * 1024


class ListForm(forms.Form):
    file = forms.FileField(
        label="The file",
        help_text="Our own CSV, a delimited or fixed-width file of the federal "
        "inventory, or GPX with waypoints. Nothing is taken before you have seen what "
        "was read.",
    )
    vintage = forms.CharField(
        label="Of which year or day",
        required=False,
        max_length=10,
        help_text="Such as 2023 or 2023-06-30. Blank: the year in the file’s name, or "
        "today for a file of ours.",
    )
    list_name = forms.CharField(
        label="Which list",
        required=False,
        max_length=80,
        help_text="A later vintage under the same name is compared with this one.",
    )
    layout = forms.ChoiceField(
        label="Kind of file",
        required=False,
        choices=[("", "Told by its content"), *Import.Layout.choices],
    )
    unmatched = forms.ChoiceField(
        label="Rows that match no bridge of ours",
        required=False,
        choices=[("", "As is usual for the kind"), *Import.Unmatched.choices],
        help_text="Usual: our own CSV makes bridges, the federal inventory’s rows are "
        "kept as rows, waypoints are asked about.",
    )

    def clean_file(self):
        file = self.cleaned_data["file"]
        if file.size > MOST_BYTES:
            raise forms.ValidationError(
                "The file is larger than 400 MB. Send it in parts, state by state."
            )
        is_cut_short = settings.JOBS_INLINE and settings.PRODUCTION
        if is_cut_short and file.size > MOST_INLINE_BYTES:
            raise forms.ValidationError(
                "This site does its work inside the page, and a file of this size takes "
                "too long for that. The keeper brings it in at the server: "
                "manage.py import_inventory FILE"
            )
        return file


class NewBridgeForm(forms.Form):
    """What a row may leave out that a bridge needs."""

    name = forms.CharField(max_length=160)
    county = forms.CharField(max_length=80)
    number = forms.CharField(
        label="Society’s number",
        max_length=20,
        required=False,
        help_text="Blank: the row’s own, or the next free one.",
    )
