"""What an officer writes, and how the PDF is asked for."""

from django import forms
from django.core.exceptions import ValidationError

from shared import dates

from . import dossier_fields
from .dossier import INCLUDABLE, NARRATIVE, PAPERS
from .dossier_facts import PLATES, POSITION
from .models import Dossier

# Two hundred pages of typing; a larger text is a file pasted by mistake.
MOST_CHARACTERS = 400_000
MOST_IN_A_LINE = 300
MOST_PHOTOS = 400
HELP = {
    "preparer": "Printed on the first page, above the line to sign on.",
    "period": "For example: 1889, or 1889/1931.",
    "description": "Site, trusses, floor, plates, abutments, changes. [S12] cites the "
    "source of that number.",
    "significance": "Every paragraph with its sources, such as [S12].",
    "integrity": "What the seven findings come to together.",
    "boundary": "With a measured distance or a named line.",
}
ROWS = {"description": 14, "significance": 14, "integrity": 6, "boundary": 5}
# Where the long texts stand among the fields: after which section they come.
TEXTS_OF = {
    dossier_fields.DESCRIPTION: ["description"],
    dossier_fields.INTEGRITY: ["integrity"],
    dossier_fields.SIGNIFICANCE: ["period", "significance"],
    dossier_fields.BOUNDARY: ["boundary"],
    dossier_fields.PREPARED: ["preparer", "organisation"],
}


def _form_field(one):
    if one.kind == dossier_fields.CHOICE:
        return forms.ChoiceField(
            choices=[("", "not answered yet"), *one.choices],
            required=False,
            label=one.label,
            help_text=one.help,
        )
    if one.kind == dossier_fields.MANY:
        return forms.MultipleChoiceField(
            choices=one.choices,
            required=False,
            label=one.label,
            help_text=one.help,
            widget=forms.CheckboxSelectMultiple,
        )
    is_text = one.kind == dossier_fields.TEXT
    return forms.CharField(
        required=False,
        label=one.label,
        help_text=one.help,
        max_length=MOST_CHARACTERS if is_text else MOST_IN_A_LINE,
        widget=forms.Textarea(attrs={"rows": one.rows}) if is_text else None,
    )


class NarrativeForm(forms.ModelForm):
    """The officer's texts and answers, on top of the revision the page began from."""

    revision = forms.IntegerField(min_value=0, widget=forms.HiddenInput)

    class Meta:
        model = Dossier
        fields = NARRATIVE
        help_texts = HELP
        widgets = {
            name: forms.Textarea(attrs={"rows": rows}) for name, rows in ROWS.items()
        }

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        for name in ROWS:
            self.fields[name].max_length = MOST_CHARACTERS
            self.fields[name].validators.append(
                forms.fields.validators.MaxLengthValidator(MOST_CHARACTERS)
            )
        answers = self.instance.answers or {}
        for one in dossier_fields.FIELDS:
            self.fields[one.name] = _form_field(one)
            self.initial.setdefault(one.name, answers.get(one.name, one.blank))

    def clean(self):
        """Browsers send lines apart by two characters; the record keeps one."""
        cleaned = super().clean()
        for name, value in cleaned.items():
            if isinstance(value, str):
                cleaned[name] = value.replace("\r\n", "\n")
        for name in dossier_fields.printed_dates():
            self._require_date(name, cleaned.get(name))
        return cleaned

    def _require_date(self, name, value):
        if not value or value == dossier_fields.NOT_APPLICABLE:
            return
        try:
            dates.parse(value)
        except ValidationError as error:
            self.add_error(name, error)

    @property
    def written(self):
        names = (*NARRATIVE, *dossier_fields.NAMES)
        return {name: self.cleaned_data[name] for name in names}

    def sections(self):
        """Return (title, fields) in the order of the page."""
        for title in dossier_fields.SECTIONS:
            names = [one.name for one in dossier_fields.FIELDS if one.section == title]
            fields = [self[name] for name in [*names, *TEXTS_OF.get(title, [])]]
            yield title, fields


class CaseForm(forms.Form):
    """What a new case is for."""

    title = forms.CharField(max_length=160, label="What the new case is for")


class PhotoLogForm(forms.Form):
    """The photographs of the log, each with its place in it."""

    revision = forms.IntegerField(min_value=0, widget=forms.HiddenInput)

    def __init__(self, data, photographs):
        super().__init__(data)
        self.photographs = photographs
        for photo in photographs:
            self.fields[photo["key"]] = forms.IntegerField(
                required=False, min_value=1, max_value=MOST_PHOTOS
            )

    @property
    def chosen(self):
        """Keys of the chosen in order; equal numbers keep the order of the page."""
        numbered = [
            (self.cleaned_data[photo["key"]], photo["key"])
            for photo in self.photographs
            if self.cleaned_data[photo["key"]]
        ]
        return [key for _, key in sorted(numbered, key=lambda pair: pair[0])]


class PrintForm(forms.Form):
    """Which paper, which case, and what to show that is left out by default."""

    paper = forms.ChoiceField(choices=list(PAPERS.items()), required=False)
    case = forms.IntegerField(min_value=1, required=False)
    include = forms.MultipleChoiceField(
        choices=[
            (POSITION, "The exact position of a bridge shown only by area"),
            (PLATES, "Where plates that were taken off are kept"),
        ],
        required=False,
        widget=forms.CheckboxSelectMultiple,
    )

    def clean_paper(self):
        return self.cleaned_data["paper"] or next(iter(PAPERS))

    def clean_include(self):
        return tuple(one for one in INCLUDABLE if one in self.cleaned_data["include"])
