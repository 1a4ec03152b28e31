"""The page of the trade's words."""

from django.shortcuts import render
from django.views.decorators.http import require_safe

from .words import GROUPS


@require_safe
def words(request):
    """Every word in plain words, each with an address of its own."""
    return render(request, "bridges/words.html", {"groups": GROUPS})
