"""Editing what builders were called when."""

from django import forms
from django.contrib import messages
from django.db import transaction
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods

from shared import policy

from .models import Attribution, Builder, BuilderName, MapVersion


def can_edit(person):
    return policy.can_review(person) or policy.can_write_dossiers(person)


class NameForm(forms.ModelForm):
    class Meta:
        model = BuilderName
        fields = ("name", "when", "source", "note")
        help_texts = {
            "when": "1871/1884, 1884/.. (from then on), 1887~ (about). Blank when nobody "
            "knows."
        }

    def _get_validation_exclusions(self):
        # The builder is set by the page, so that the rule that names it can be checked.
        return super()._get_validation_exclusions() - {"builder"}


@policy.requires(can_edit)
@require_http_methods(["GET", "POST"])
def names(request, slug, pk=None):
    """Every name of one builder; one more, or another wording of one that is there."""
    builder = get_object_or_404(Builder, slug=slug)
    instance = BuilderName(builder=builder)
    if pk is not None:
        instance = get_object_or_404(BuilderName, pk=pk, builder=builder)
    form = NameForm(request.POST or None, instance=instance)
    if request.method == "POST" and form.is_valid():
        _save(form, builder)
        messages.success(request, "Saved. What stood here before is kept.")
        return redirect("bridges:builder-names", slug=builder.slug)
    rows = builder.names.select_related("source")
    context = {"builder": builder, "names": rows, "form": form, "instance": instance}
    return render(request, "bridges/builder_names.html", context)


@transaction.atomic
def _save(form, builder):
    form.save()
    hands = Attribution.objects.filter(builder=builder)
    # Bridges are found by every name of who built them.
    MapVersion.bump(sorted(set(hands.values_list("bridge_id", flat=True))))
