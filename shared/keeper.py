"""The keeper's page: what runs behind the site, and what needs a hand."""

from django.contrib import messages
from django.db.models import Count
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_POST

from . import jobs, policy
from .models import Job

MOST_JOBS = 50


@require_GET
@policy.requires(policy.can_keep)
def overview(request):
    return render(request, "shared/keeper.html", {"jobs": _jobs()})


@require_POST
@policy.requires(policy.can_keep)
def retry(request, pk):
    """Give a job that was given up another chance."""
    dead = get_object_or_404(Job, pk=pk)
    after = jobs.retry(dead)
    if after.state == Job.State.DEAD:
        messages.warning(request, f"It failed again: {after.fault}")
    elif after.state == Job.State.DONE:
        messages.success(request, "Done this time.")
    elif after.error:
        messages.warning(
            request, f"It failed again and will be tried later: {after.fault}"
        )
    else:
        messages.success(request, "It waits for its turn.")
    return redirect("keeper")


def _jobs():
    counted = Job.objects.order_by().values_list("state").annotate(Count("pk"))
    counts = dict(counted)
    due = Job.objects.due(timezone.now()).first()
    return {
        "counts": [(label, counts.get(state, 0)) for state, label in Job.State.choices],
        "dead": Job.objects.filter(state=Job.State.DEAD)[:MOST_JOBS],
        "failed_once": Job.objects.filter(state=Job.State.WAITING).exclude(error="")[
            :MOST_JOBS
        ],
        "due_since": due.run_after if due else None,
    }
