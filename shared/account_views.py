"""Pages of accounts: signing in by a link, joining, one's own account, leaving."""

from django.conf import settings
from django.contrib import messages
from django.contrib.auth import login, logout, views
from django.contrib.auth.decorators import login_required
from django.contrib.auth.forms import PasswordChangeForm, SetPasswordForm
from django.core.exceptions import ValidationError
from django.shortcuts import redirect, render
from django.urls import reverse_lazy
from django.utils import timezone
from django.utils.decorators import method_decorator
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods

from . import audit, limits, people
from .account_forms import JoinForm, LeaveForm, LinkForm, OwnForm

BACKEND = "django.contrib.auth.backends.ModelBackend"
# Until when a session that a link began may set a password without knowing the old.
BY_LINK = "by_link_until"
BY_LINK_S = 60 * 60
ASKED = (
    "If an account has that address, a link is on its way. It works once, for a "
    "quarter of an hour."
)

SIGNED_IN_BY_LINK = (
    "You are signed in. If you have lost your password, set a new one under Account "
    "within an hour."
)


def _posted(request):
    """What was sent, also when it is nothing: a form with no box ticked is a form."""
    return request.POST if request.method == "POST" else None


def _keep_address(response):
    """The page's address is a key, of which no other page may learn.

    Not ``no-referrer``: with it a browser says that the page's own form comes from
    nowhere, and the form is then refused as one sent from elsewhere.
    """
    response.headers["Referrer-Policy"] = "strict-origin"
    return response


def _site(request):
    return f"{request.scheme}://{request.get_host()}"


@method_decorator(limits.limited("sign-in"), name="dispatch")
class SignIn(views.LoginView):
    template_name = "shared/sign_in.html"
    redirect_authenticated_user = True

    def get_context_data(self, **kwargs):
        # The view would call the site after its host.
        return super().get_context_data(**kwargs) | {"site_name": settings.SITE_NAME}


@never_cache
@require_http_methods(["GET", "POST"])
@limits.limited("mail")
def ask_link(request):
    """Ask for a link by mail. The answer is the same whoever asks for whomever."""
    form = LinkForm(_posted(request))
    if request.method == "POST" and form.is_valid():
        people.ask_for_link(form.cleaned_data["email"], _site(request))
        messages.success(request, ASKED)
        return redirect("accounts:sign-in")
    return render(request, "shared/link_ask.html", {"form": form})


@never_cache
@sensitive_post_parameters()
@require_http_methods(["GET", "POST"])
@limits.limited("sign-in")
def link(request, token):
    """Sign in by a link. Opening it does nothing, as mail programs open links too."""
    if request.method == "POST":
        person = people.person_of_link(token)
        if person is not None:
            login(request, person, backend=BACKEND)
            request.session[BY_LINK] = timezone.now().timestamp() + BY_LINK_S
            messages.success(request, SIGNED_IN_BY_LINK)
            return redirect("/")
        response = render(request, "shared/link.html", {"is_dead": True}, status=403)
    else:
        response = render(request, "shared/link.html", {"is_dead": False})
    return _keep_address(response)


@never_cache
@sensitive_post_parameters()
@require_http_methods(["GET", "POST"])
@limits.limited("sign-in")
def invited(request, secret):
    """Make an account by an invitation."""
    invitation = people.open_invitation(secret)
    if invitation is None:
        return render(request, "shared/invited.html", {"is_dead": True}, status=404)
    form = JoinForm(_posted(request))
    if request.method == "POST" and form.is_valid():
        try:
            person = people.join(invitation=invitation, person=form.save(commit=False))
        except ValidationError as error:
            form.add_error(None, error)
        else:
            login(request, person, backend=BACKEND)
            messages.success(request, "Welcome. Your account is made.")
            return redirect("/")
    response = render(
        request, "shared/invited.html", {"form": form, "invitation": invitation}
    )
    return _keep_address(response)


@never_cache
@login_required
@require_http_methods(["GET", "POST"])
def own(request):
    """One's own name, consent and mail address."""
    form = OwnForm(_posted(request), instance=request.user)
    if request.method == "POST" and form.is_valid():
        form.save()
        messages.success(request, "Saved.")
        return redirect("accounts:own")
    return render(request, "shared/account.html", {"form": form})


@never_cache
@login_required
@require_http_methods(["GET", "POST"])
def leave(request):
    """Leave the society: the person goes, what they recorded stays."""
    form = LeaveForm(_posted(request), initial={"keep_credit": True})
    if request.method == "POST" and form.is_valid():
        person = request.user
        try:
            people.leave(
                person=person, by=person, keep_credit=form.cleaned_data["keep_credit"]
            )
        except ValidationError as error:
            form.add_error(None, error)
        else:
            logout(request)
            messages.success(request, "Your account is closed. Thank you for the work.")
            return redirect("/")
    return render(request, "shared/leave.html", {"form": form})


class Password(views.PasswordChangeView):
    """Change one's password; whoever came by a link need not know the old one."""

    template_name = "shared/password.html"
    success_url = reverse_lazy("accounts:own")

    def get_form_class(self):
        until = self.request.session.get(BY_LINK, 0)
        is_by_link = timezone.now().timestamp() < until
        return SetPasswordForm if is_by_link else PasswordChangeForm

    def form_valid(self, form):
        self.request.session.pop(BY_LINK, None)
        audit.note(audit.Action.PASSWORD, person=self.request.user)
        messages.success(self.request, "The new password holds from now on.")
        return super().form_valid(form)
