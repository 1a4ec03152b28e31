"""What an officer writes, and how the PDF is asked for."""

from django import forms

from .dossier import INCLUDABLE, NARRATIVE, PAPERS
from .dossier_facts import PLATES, POSITION
from .models import Dossier

# Two hundred pages of typing; a larger text is a file pasted by mistake.
MOST_CHARACTERS = 400_000
HELP = {
    "preparer": "Printed on the first page, above the line to sign on.",
    "criteria": "Each with its part, for example: C, distinctive type of construction.",
    "period": "For example: 1889, or 1889–1931.",
    "description": "Begin with one paragraph that says the whole, then site, trusses, "
    "floor, plates, abutments, changes.",
    "significance": "Begin with what is claimed, under which criterion, at which level.",
    "integrity": "Location, design, setting, materials, workmanship, feeling and "
    "association, each in turn.",
    "boundary": "In words, with a measured distance, and why it runs there.",
}
ROWS = {"description": 14, "significance": 14, "integrity": 9, "boundary": 5}


class NarrativeForm(forms.ModelForm):
    """The officer's texts, on top of the revision the page was opened at."""

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

    def clean(self):
        """Browsers send lines apart by two characters; the record keeps one."""
        cleaned = super().clean()
        for name in ROWS:
            if name in cleaned:
                cleaned[name] = cleaned[name].replace("\r\n", "\n")
        return cleaned

    @property
    def written(self):
        return {name: self.cleaned_data[name] for name in NARRATIVE}


class PrintForm(forms.Form):
    """Which paper, and what to show that is left out by default."""

    paper = forms.ChoiceField(choices=list(PAPERS.items()), required=False)
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
