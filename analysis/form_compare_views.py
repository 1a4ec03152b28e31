"""The page that sets forms side by side for one crossing."""

from dataclasses import dataclass

from django import forms as django_forms
from django.core.exceptions import ValidationError
from django.http import QueryDict
from django.shortcuts import render
from django.views.decorators.http import require_safe

from analysis.engine import forms
from analysis.engine.errors import FormError
from bridges import drawing
from shared import units
from shared.templatetags.figures import figure, signed
from shared.units import feet_text

from . import form_compare, form_compare_words, form_drawings, form_facts
from .form_compare_words import feet_and_inches

DEFAULTS = {
    "form": ["pratt", "half-hip-pratt"],
    "span_ft": "75",
    "panels": "5",
    "depth_ft": "8'-6\"",
    "hip_offset_ft": "",
    "dead_plf": "300",
    "live_plf": "640",
    "stress_ksi": "16",
    "area_in2": "9.7",
    "r_in": "3.2",
}
#: A half-hip's hip stands this part of a panel from the bearing unless it is given.
HIP_PART = 0.4


class LengthField(django_forms.CharField):
    """A length as people write it, in feet."""

    def __init__(self, *, least_ft, most_ft, **kwargs):
        messages = {"required": "Give a length."}
        super().__init__(max_length=40, error_messages=messages, **kwargs)
        self.least_ft, self.most_ft = least_ft, most_ft

    def clean(self, value):
        text = super().clean(value)
        if not text:
            return None
        feet = units.length(text, "ft")
        if not self.least_ft <= feet <= self.most_ft:
            raise ValidationError(
                f"Give {self.least_ft:g} to {self.most_ft:g} ft.", code="range"
            )
        return feet


def _number(label, least, most, help_text=""):
    return django_forms.FloatField(
        label=label,
        min_value=least,
        max_value=most,
        help_text=help_text,
        error_messages={
            "required": "Give a number.",
            "invalid": "Give a number, without its unit.",
            "min_value": f"Give {least:g} to {most:,g}.",
            "max_value": f"Give {least:g} to {most:,g}.",
        },
        widget=django_forms.TextInput(attrs={"inputmode": "decimal", "class": "short"}),
    )


class CompareForm(django_forms.Form):
    """One crossing, and the forms to be set on it."""

    form = django_forms.MultipleChoiceField(
        label="Forms",
        choices=[(name, forms.FORMS[name].title) for name in form_compare.COMPARABLE],
        widget=django_forms.CheckboxSelectMultiple,
        help_text=f"Two to {form_compare.MOST_FORMS}.",
        error_messages={
            "required": "Choose two forms or more.",
            "invalid_choice": "%(value)s is no form that can be compared.",
        },
    )
    span_ft = LengthField(
        label="Span",
        least_ft=10,
        most_ft=800,
        help_text="From bearing to bearing: 75, or 75'-6\".",
    )
    panels = django_forms.IntegerField(
        label="Panels",
        min_value=2,
        max_value=form_compare.MOST_PANELS,
        error_messages={
            "required": "Give a whole number.",
            "invalid": "Give a whole number.",
            "min_value": f"Give 2 to {form_compare.MOST_PANELS} panels.",
            "max_value": f"Give 2 to {form_compare.MOST_PANELS} panels.",
        },
        widget=django_forms.TextInput(attrs={"inputmode": "numeric", "class": "short"}),
    )
    depth_ft = LengthField(
        label="Depth",
        least_ft=1,
        most_ft=200,
        help_text="From the lower chord to the highest joint of the upper.",
    )
    hip_offset_ft = LengthField(
        label="Hip offset",
        least_ft=0.1,
        most_ft=200,
        required=False,
        help_text="For a half-hip: from the bearing to below the hip. Blank: four tenths "
        "of a panel.",
    )
    dead_plf = _number(
        "Dead load on one truss, lb per ft",
        1,
        20_000,
        "Half of the floor, and the truss itself.",
    )
    live_plf = _number(
        "Moving load on one truss, lb per ft",
        0,
        20_000,
        "Even, as long as it likes, placed where it does most. 640 is 80 lb on every "
        "square foot of half a 16-ft road.",
    )
    stress_ksi = _number("One stress for all metal, ksi", 1, 100)
    area_in2 = _number(
        "Area of every bar's section, sq in",
        0.1,
        1000,
        "Two 8-in channels and a cover plate have about 9.7.",
    )
    r_in = _number(
        "Its radius of gyration, in",
        0.1,
        50,
        "About 3.2 for those.",
    )

    def clean_form(self):
        chosen = self.cleaned_data["form"]
        if not 2 <= len(chosen) <= form_compare.MOST_FORMS:
            raise ValidationError(
                f"Choose two forms, or up to {form_compare.MOST_FORMS}; "
                f"{len(chosen)} {'is' if len(chosen) == 1 else 'are'} chosen."
            )
        return chosen

    def clean(self):
        data = super().clean()
        self._check_panels(data)
        self._check_hip(data)
        return data

    def _check_panels(self, data):
        # A field with an error is no longer among the data: all are found first.
        chosen, panels = data.get("form"), data.get("panels")
        if chosen and panels:
            entries = [forms.FORMS[name] for name in chosen]
            faults = [form_compare.panels_fault(entry, panels) for entry in entries]
            for fault in filter(None, faults):
                self.add_error("panels", fault)

    def _check_hip(self, data):
        if not (data.get("span_ft") and data.get("panels")):
            return
        panel_ft = data["span_ft"] / data["panels"]
        if data.get("hip_offset_ft") is None and "hip_offset_ft" not in self.errors:
            data["hip_offset_ft"] = HIP_PART * panel_ft
        elif data.get("hip_offset_ft", 0) > 0.999 * panel_ft:
            self.add_error(
                "hip_offset_ft", f"Give less than a panel, {feet_text(panel_ft)}."
            )

    def crossing(self):
        data = {k: v for k, v in self.cleaned_data.items() if k != "form"}
        return form_compare.Crossing(**data)


@dataclass(frozen=True)
class TableRow:
    label: str
    unit: str
    cells: tuple[str, ...]
    note: str = ""


@require_safe
def compare_page(request):
    """Two or more forms on one crossing, with what each buys in words."""
    form = CompareForm(_filled(request.GET))
    compared = []
    if form.is_valid():
        try:
            compared = form_compare.compare(form.cleaned_data["form"], form.crossing())
        except FormError as error:
            field = error.field if error.field in form.fields else "form"
            form.add_error(field, str(error))
    first = compared[0] if compared else None
    return render(
        request,
        "analysis/forms/compare.html",
        {
            "form": form,
            "shown": [_drawn(one) for one in compared],
            "rows": _rows(compared),
            "pairs": [
                {
                    "title": _pair_title(first, other),
                    "said": form_compare_words.beside(first, other),
                }
                for other in compared[1:]
            ],
            "summary": form_compare_words.summary(compared),
            "crossing": form.crossing() if compared else None,
        },
        status=200,
    )


def _filled(asked):
    """Return what was asked with the example's figures for what was not."""
    data = QueryDict(mutable=True)
    for name, value in DEFAULTS.items():
        given = asked.getlist(name)
        # A form sent with no box ticked names every other field.
        is_missing = name not in asked and not (name == "form" and "sent" in asked)
        if is_missing:
            given = value if isinstance(value, list) else [value]
        data.setlist(name, given)
    return data


def _pair_title(first, other):
    pair = (first, other)
    names = [form_compare_words.name_of(one, pair) for one in (other, first)]
    return f"{names[0][0].upper()}{names[0][1:]} beside {names[1]}"


def _drawn(one):
    key = one.entry.key
    forces = {bar.name: bar.governing_kip for bar in one.bars}
    styles = form_drawings.bars(
        forces,
        rods=form_facts.rods_of(key, one.geometry),
        kinds=one.geometry.kinds,
        label=lambda force: signed(force, 0),
    )
    return {
        "one": one,
        "title": one.title,
        "in_line": one.in_line,
        "drawing": form_drawings.elevation(
            one.geometry,
            styles,
            title=f"{one.title}, greatest forces",
            name=f"is-{key}",
        ),
        "legend": drawing.legend(styles),
        "bars": one.bars,
    }


def _rows(compared):
    if not compared:
        return []
    area = compared[0].crossing.area_in2

    def row(label, unit, value, note=""):
        return TableRow(label, unit, tuple(value(one) for one in compared), note)

    def bar(pick, value):
        def cell(one):
            found = pick(one)
            return "none" if found is None else value(found)

        return cell

    def end(one):
        return one.end_post

    def top(one):
        return one.top

    return [
        row("Joints", "", lambda one: str(one.joints)),
        row("Bars", "", lambda one: str(len(one.bars))),
        row("Length of bar in all", "ft", lambda one: figure(one.total_ft, 0)),
        row("End post, length", "", bar(end, lambda b: feet_and_inches(b.length_ft))),
        row("End post, greatest force", "kip", bar(end, _force)),
        row("End post, KL/r", "", bar(end, _slender)),
        row(
            "End post, buckling load of the section over its force",
            "times",
            bar(end, lambda b: _times(b, area)),
            "Euler, straight and elastic",
        ),
        row("End post, area by the column formula", "sq in", bar(end, _area)),
        row("Upper chord, the bar pressed hardest", "", bar(top, _length)),
        row("Upper chord, greatest force", "kip", bar(top, _force)),
        row("Upper chord, KL/r", "", bar(top, _slender)),
        row(
            "Upper chord, buckling load of the section over its force",
            "times",
            bar(top, lambda b: _times(b, area)),
            "Euler, each joint held sideways",
        ),
        row("Upper chord, area by the column formula", "sq in", bar(top, _area)),
        row("Lower chord, greatest force", "kip", bar(lambda one: one.bottom, _force)),
        row(
            "Upright at the first panel point",
            "kip",
            bar(lambda one: one.first_upright, _force),
        ),
        row(
            "Longest web bar that is pressed",
            "",
            bar(lambda one: one.longest_web_strut, _length),
        ),
        row(
            "Bars that are pulled and pressed by turns",
            "",
            lambda one: str(len(one.reversing)),
        ),
        row("Metal at one stress", "lb", lambda one: figure(one.metal_lb, 0)),
        row(
            "Metal, bars pressed by the column formula",
            "lb",
            lambda one: figure(one.column_metal_lb, 0),
        ),
    ]


def _force(bar):
    return signed(bar.governing_kip)


def _length(bar):
    return f"{feet_and_inches(bar.length_ft)} ({bar.name})"


def _slender(bar):
    return figure(bar.slenderness, 0)


def _area(bar):
    return figure(bar.strut_area_in2, 2)


def _times(bar, area_in2):
    load = form_compare.euler_kip(bar, area_in2)
    return figure(load / bar.push_kip) if load and bar.push_kip else "–"
