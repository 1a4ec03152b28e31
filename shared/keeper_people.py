"""The keeper's pages of people: who may do what, invitations, closing an account."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.core.paginator import Paginator
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import (
    require_GET,
    require_http_methods,
    require_POST,
)

from . import people, policy
from .account_forms import GroupsForm, InviteForm, LeaveForm
from .models import Invitation, Person

PER_PAGE = 100


def _posted(request):
    """What was sent, also when it is nothing: a form with no box ticked is a form."""
    return request.POST if request.method == "POST" else None


@never_cache
@require_GET
@policy.requires(policy.can_keep)
def everybody(request):
    shown = Person.objects.prefetch_related("groups").order_by("-is_active", "username")
    page = Paginator(shown, PER_PAGE).get_page(request.GET.get("page"))
    waiting = people.open_invitations()[:PER_PAGE]
    context = {"page": page, "waiting": waiting, "days": people.INVITATION_DAYS}
    return render(request, "shared/people.html", context)


@never_cache
@require_http_methods(["GET", "POST"])
@policy.requires(policy.can_keep)
def invite(request):
    """Invite somebody by mail; the link is shown once, to be passed on by hand."""
    form = InviteForm(_posted(request))
    context = {"form": form}
    if request.method == "POST" and form.is_valid():
        invitation, secret = people.invite(**form.cleaned_data, by=request.user)
        path = reverse("accounts:invited", args=[secret])
        address = f"{request.scheme}://{request.get_host()}{path}"
        context |= {"address": address, "invitation": invitation}
        context["has_mail"] = people.has_mail()
        try:
            people.send_invitation(invitation, address)
        except OSError as error:
            context["mail_fault"] = str(error)
    return render(request, "shared/invite.html", context)


@require_POST
@policy.requires(policy.can_keep)
def take_back(request, pk):
    """Undo an invitation, as when it went to a wrong address."""
    invitation = get_object_or_404(Invitation, pk=pk, accepted_at=None)
    people.take_back(invitation=invitation, by=request.user)
    messages.success(request, f"The invitation of {invitation.email} is taken back.")
    return redirect("keeper-people")


@never_cache
@require_http_methods(["GET", "POST"])
@policy.requires(policy.can_keep)
def one(request, pk):
    """What one person may do."""
    person = get_object_or_404(Person, pk=pk, is_active=True)
    form = GroupsForm(_posted(request), initial={"groups": sorted(person.group_names)})
    if request.method == "POST" and form.is_valid():
        try:
            people.set_groups(
                person=person, groups=form.cleaned_data["groups"], by=request.user
            )
        except ValidationError as error:
            form.add_error("groups", error)
        else:
            messages.success(request, f"Saved what {person.username} may do.")
            return redirect("keeper-people")
    context = {"person": person, "form": form}
    return render(request, "shared/person.html", context)


@never_cache
@require_http_methods(["GET", "POST"])
@policy.requires(policy.can_keep)
def close(request, pk):
    """Close somebody's account, as they asked or because they are gone."""
    person = get_object_or_404(Person, pk=pk, is_active=True)
    form = LeaveForm(_posted(request))
    form.fields["keep_credit"].label = "Keep their name beside what they recorded"
    if request.method == "POST" and form.is_valid():
        name = person.username
        try:
            people.leave(
                person=person,
                by=request.user,
                keep_credit=form.cleaned_data["keep_credit"],
            )
        except ValidationError as error:
            form.add_error(None, error)
        else:
            messages.success(request, f"The account {name} is closed.")
            return redirect("keeper-people")
    return render(request, "shared/close.html", {"person": person, "form": form})
