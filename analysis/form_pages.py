"""Pages of forms: the key that leads to one, and a page for each.

They show the same to everybody who may see the same bridges, so that a phone can keep
them for a day without signal.
"""

from django.http import Http404
from django.shortcuts import render
from django.views.decorators.http import require_safe

from analysis.engine import forms
from bridges import drawing
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
