"""Pages of forms: the key that leads to one, and a page for each.

They show the same to everybody who may see the same bridges, so that a phone can keep
them for a day without signal.
"""

from functools import cache

from django.conf import settings
from django.http import Http404, HttpResponse
from django.shortcuts import render
from django.template.loader import render_to_string
from django.views.decorators.gzip import gzip_page
from django.views.decorators.http import require_safe

from analysis.engine import forms
from bridges import drawing, words
from bridges.models import Bridge, Form
from shared.units import feet_text

from . import form_compare, form_drawings, form_facts, form_key

#: Bridges named on a form's page before the list is pointed to.
MOST_BRIDGES = 12


@require_safe
def key_page(request):
    """The key, all its steps on one page, and every form below it."""
    steps = [_step(step) for step in form_key.key()]
    every = [_shown(entry) for entry in forms.FORMS.values()]
    return render(request, "analysis/forms/key.html", {"steps": steps, "every": every})


def _step(step):
    values = [answer.value for answer in step.trail]
    question = step.question
    return {
        "slug": step.slug,
        "question": question,
        "trail": [
            ("-".join(values[:place]) or "start", answer)
            for place, answer in enumerate(step.trail)
        ],
        "back": step.back,
        "choices": [_choice(question, choice) for choice in step.choices],
        "left": [forms.FORMS[name] for name in step.forms],
    }


def _choice(question, choice):
    geometry = choice.geometry
    ringed = ()
    if question.key == "hip":
        upper = form_key.chord(geometry, "upper-chord")
        ringed = (upper[0], upper[-1])
    return {
        "answer": choice.answer,
        "step": choice.step,
        "forms": [forms.FORMS[name] for name in choice.forms],
        "sketch": form_drawings.sketch(geometry, question.shows, ringed=ringed),
    }


def _shown(entry):
    return {
        "entry": entry,
        "title": form_facts.full_title(entry),
        "sketch": form_drawings.sketch(entry.typical()),
    }


STYLES_IN_FIELD = (
    "shared/css/base.css",
    "shared/css/record.css",
    "surveys/css/field.css",
    "analysis/css/forms.css",
)


@gzip_page
@require_safe
def field_page(request):
    """Key, forms and words on one page, for a phone to keep.

    Made without the request: it is the same for everybody and holds no name.
    """
    return HttpResponse(_field_page())


@cache
def _field_page():
    return render_to_string(
        "analysis/forms/field.html",
        {
            "styles": STYLES_IN_FIELD,
            "site_name": settings.SITE_NAME,
            "steps": [_step(step) for step in form_key.key()],
            "every": [_kept(entry) for entry in forms.FORMS.values()],
            "groups": words.GROUPS,
        },
    )


def _kept(entry):
    rows = form_facts.action(entry.key).rows
    return _shown(entry) | {
        "rows": rows,
        "is_split": len({row.words for row in rows}) < len(rows),
        "neighbours": [
            {
                "entry": one.form,
                "theirs": " and ".join(one.theirs),
                "ours": " and ".join(one.ours),
            }
            for one in form_key.neighbours(entry.key)
        ],
    }


@require_safe
def form_page(request, form):
    """One form: its drawing, how its bars act, and how to tell it from others."""
    entry = forms.FORMS.get(form)
    if entry is None:
        raise Http404
    acts = form_facts.action(form)
    title = form_facts.full_title(entry)
    styles = form_drawings.bars(
        acts.forces, rods=acts.rods, kinds=acts.geometry.kinds, unit="panel loads"
    )
    standing = (
        Bridge.objects.visible_to(request.user)
        .filter(spans__form=form)
        .distinct()
        .for_list()
    )
    return render(
        request,
        "analysis/forms/form.html",
        {
            "entry": entry,
            "title": title,
            "acts": acts,
            "drawing": form_drawings.elevation(
                acts.geometry,
                styles,
                title=f"{title} under an even load",
                name=f"form-{form}",
            ),
            "legend": drawing.legend(styles),
            "example": _example_words(acts.geometry),
            "on_deck": entry.carries == "deck",
            "neighbours": [
                {
                    "entry": one.form,
                    "title": form_facts.full_title(one.form),
                    "in_line": form_facts.in_a_sentence(one.form.title),
                    "sketch": form_drawings.sketch(one.form.typical()),
                    "theirs": " and ".join(one.theirs),
                    "ours": " and ".join(one.ours),
                    "compare": form_compare.query(form, one.form.key),
                }
                for one in form_key.neighbours(form)
            ],
            "bridges": standing[:MOST_BRIDGES],
            "count": standing.count(),
            "is_recorded": form in Form.values,
        },
    )


def _example_words(geometry):
    xs = [geometry.joints[joint][0] for joint in geometry.loaded_joints]
    ys = [y for _, y in geometry.joints.values()]
    panels = len(xs) - 1
    panel_ft = (xs[-1] - xs[0]) / panels
    return (
        f"{panels} panels of {feet_text(panel_ft)}, {feet_text(xs[-1] - xs[0])} in all, "
        f"{feet_text(max(ys) - min(ys))} deep"
    )
