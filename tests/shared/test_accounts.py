"""Joining by invitation, signing in by a link, rights, consent, and leaving."""

import datetime
import re

import pytest
from django.core import mail
from django.core.exceptions import ValidationError
from django.utils import timezone

from shared import account_views, people, policy
from shared.models import AuditEntry, Invitation, Person
from surveys.models import Visit
from tests.makers import PASSWORD, make_bridge, make_person, make_visit

NEW_PASSWORD = "river stones in May"


@pytest.fixture
def keeper(db):
    return make_person("kit", "keeper", email="kit@example.org")


def link_in(letter):
    return re.search(r"http://testserver(/\S+)", letter.body)[1]


def who(client):
    return client.get("/api/session/").json()["username"]


# -- a link by mail


def asked(client, address="ada@example.org"):
    client.post("/accounts/link/", {"email": address})
    return link_in(mail.outbox[-1])


def test_a_link_signs_in_once_and_only_when_confirmed(client, db):
    make_person("ada", email="Ada@example.org")
    path = asked(client)
    assert client.get(path).status_code == 200
    assert client.get(path).status_code == 200, "a mail program may look at it"
    assert who(client) == ""
    assert client.post(path).status_code == 302
    assert who(client) == "ada"
    client.logout()
    assert client.post(path).status_code == 403
    assert who(client) == ""


def test_a_link_dies_after_a_quarter_of_an_hour(client, db, monkeypatch):
    make_person("ada", email="ada@example.org")
    path = asked(client)
    monkeypatch.setattr(people, "LINK_MINUTES", -1)
    assert client.post(path).status_code == 403


def test_a_link_dies_with_a_new_password_and_with_the_account(client, db):
    ada = make_person("ada", email="ada@example.org")
    path = asked(client)
    ada.set_password(NEW_PASSWORD)
    ada.save()
    assert client.post(path).status_code == 403
    path = asked(client)
    ada.is_active = False
    ada.save()
    assert client.post(path).status_code == 403


def test_a_forged_link_signs_nobody_in(client, db):
    make_person("ada", email="ada@example.org")
    path = asked(client)
    forged = path[:-3] + ("aa/" if path[-3:] != "aa/" else "bb/")
    for wrong in (forged, "/accounts/link/x/", "/accounts/link/%00/"):
        assert client.post(wrong).status_code == 403
    assert who(client) == ""


def test_who_comes_by_a_link_sets_a_password_without_the_old_one(client, db):
    make_person("ada", email="ada@example.org")
    client.post(asked(client))
    new = {"new_password1": NEW_PASSWORD, "new_password2": NEW_PASSWORD}
    assert "Set a new password" in client.get("/accounts/me/password/").text
    assert client.post("/accounts/me/password/", new).status_code == 302
    assert AuditEntry.objects.filter(action="password", person__username="ada").exists()
    assert client.post("/accounts/me/password/", new).status_code == 200, "only once"
    client.logout()
    assert client.login(username="ada", password=NEW_PASSWORD)


def test_an_hour_after_the_link_the_old_password_is_asked_for(client, db):
    make_person("ada", email="ada@example.org")
    client.post(asked(client))
    session = client.session
    session[account_views.BY_LINK] -= account_views.BY_LINK_S
    session.save()
    new = {"new_password1": NEW_PASSWORD, "new_password2": NEW_PASSWORD}
    page = client.post("/accounts/me/password/", new)
    assert "old_password" in page.context["form"].errors


def test_the_page_behind_a_link_tells_its_address_to_nobody(client, db):
    make_person("ada", email="ada@example.org")
    response = client.get(asked(client))
    assert response.headers["Referrer-Policy"] == "strict-origin"
    assert "no-store" in response.headers["Cache-Control"]


# -- an invitation


def invited(client, keeper, *groups):
    client.force_login(keeper)
    page = client.post(
        "/keeper/people/invite/",
        {"email": "new@example.org", "groups": groups or ("volunteer",)},
    )
    client.logout()
    path = link_in(mail.outbox[-1])
    assert path in page.text
    return path


JOINING = {
    "username": "nell",
    "credit_name": "Nell Orr",
    "is_credited": "on",
    "password1": NEW_PASSWORD,
    "password2": NEW_PASSWORD,
}


def test_somebody_invited_makes_one_account_with_the_rights_given(client, keeper):
    path = invited(client, keeper, "volunteer", "reviewer")
    assert client.get(path).status_code == 200
    assert client.post(path, JOINING).status_code == 302
    nell = Person.objects.get(username="nell")
    assert who(client) == "nell"
    assert (nell.email, nell.credit) == ("new@example.org", "Nell Orr")
    assert nell.group_names == {"volunteer", "reviewer"}
    assert client.get(path).status_code == 404
    again = client.post(path, JOINING | {"username": "other"})
    assert again.status_code == 404
    assert Person.objects.count() == 2


@pytest.mark.parametrize(
    "change, field",
    [
        ({"username": "kit"}, "username"),
        ({"username": "n ell"}, "username"),
        ({"password2": "something else 1"}, "password2"),
        ({"password1": "password", "password2": "password"}, "password2"),
    ],
)
def test_a_fault_in_joining_keeps_what_was_typed(client, keeper, change, field):
    path = invited(client, keeper)
    page = client.post(path, JOINING | change)
    assert page.status_code == 200
    assert field in page.context["form"].errors
    assert 'value="Nell Orr"' in page.text
    assert not Person.objects.exclude(pk=keeper.pk).exists()
    assert client.post(path, JOINING).status_code == 302


def test_an_invitation_grants_nothing_that_its_guest_adds(client, keeper):
    path = invited(client, keeper)
    client.post(
        path, JOINING | {"groups": "keeper", "is_superuser": "on", "email": "x@y.org"}
    )
    nell = Person.objects.get(username="nell")
    assert nell.group_names == {"volunteer"}
    assert not nell.is_superuser
    assert nell.email == "new@example.org"


def test_an_invitation_ends_after_two_weeks(client, keeper):
    path = invited(client, keeper)
    Invitation.objects.update(made_at=timezone.now() - datetime.timedelta(days=15))
    assert client.post(path, JOINING).status_code == 404


def test_an_invitation_is_taken_back_and_makes_no_account(client, keeper):
    path = invited(client, keeper)
    client.force_login(keeper)
    invitation = Invitation.objects.get()
    take_back = f"/keeper/invitations/{invitation.pk}/take-back/"
    assert take_back in client.get("/keeper/people/").text
    assert client.post(take_back).status_code == 302
    assert (
        "new@example.org"
        not in client.get("/keeper/people/").text.partition("Invited and not yet come")[
            2
        ]
    )
    assert client.post(take_back).status_code == 404
    client.logout()
    assert client.post(path, JOINING).status_code == 404
    assert AuditEntry.objects.filter(action="uninvited", person=keeper).count() == 1


def test_the_secret_of_an_invitation_is_kept_nowhere(client, keeper):
    secret = invited(client, keeper).split("/")[-2]
    assert len(secret) > 40
    kept = " ".join(str(value) for value in vars(Invitation.objects.get()).values())
    assert secret not in kept


# -- rights


def test_the_keeper_changes_what_somebody_may_do_and_it_is_written_down(client, keeper):
    ada = make_person("ada")
    client.force_login(keeper)
    client.post(f"/keeper/people/{ada.pk}/", {"groups": ["volunteer", "officer"]})
    assert policy.can_write_dossiers(Person.objects.get(pk=ada.pk))
    entry = AuditEntry.objects.get(action="groups")
    assert entry.person == keeper
    assert entry.subject == "ada: volunteer → officer, volunteer"


def test_the_last_keeper_stays_keeper(client, keeper):
    client.force_login(keeper)
    page = client.post(f"/keeper/people/{keeper.pk}/", {"groups": ["volunteer"]})
    assert "another keeper" in page.text
    left = client.post("/accounts/me/leave/", {"is_sure": "on"})
    assert "another keeper" in left.text
    assert policy.can_keep(Person.objects.get(pk=keeper.pk))
    make_person("kay", "keeper")
    client.post(f"/keeper/people/{keeper.pk}/", {"groups": ["volunteer"]})
    assert not policy.can_keep(Person.objects.get(pk=keeper.pk))


# -- consent, and leaving


def test_a_name_is_printed_only_with_consent(client, db):
    ada = make_person("ada", credit_name="Ada Reed")
    visit = make_visit(
        make_bridge(), ada, make_person("rae", "reviewer"), said={"limit": "same"}
    )
    assert "Ada Reed" in client.get(visit.get_absolute_url()).text
    client.force_login(ada)
    client.post("/accounts/me/", {"credit_name": "Ada Reed", "email": ""})
    client.logout()
    page = client.get(visit.get_absolute_url()).text
    assert "Ada Reed" not in page
    assert "A volunteer of the society" in page


@pytest.mark.parametrize(
    "ticked, credit", [({"keep_credit": "on"}, "Ada Reed"), ({}, people.FORMER)]
)
def test_who_leaves_is_gone_and_what_they_recorded_stays(client, db, ticked, credit):
    ada = make_person(
        "ada", credit_name="Ada Reed", email="ada@example.org", last_name="Reed"
    )
    visit = make_visit(
        make_bridge(), ada, make_person("rae", "reviewer"), said={"limit": "same"}
    )
    client.login(username="ada", password=PASSWORD)
    phone = client.cookies["second_crossing_session"].value
    assert client.post("/accounts/me/leave/", {"is_sure": "on", **ticked}).status_code
    gone = Person.objects.get(pk=ada.pk)
    kept = " ".join(str(value) for value in vars(gone).values())
    assert "ada@example.org" not in kept
    assert not gone.is_active
    assert not gone.groups.exists()
    assert gone.credit == credit
    assert ("Reed" in kept) is bool(ticked)
    assert Visit.objects.get(pk=visit.pk).surveyor == gone
    client.cookies["second_crossing_session"] = phone
    assert who(client) == ""
    assert not client.login(username="ada", password=PASSWORD)
    assert not client.login(username=gone.username, password=PASSWORD)


def test_who_leaves_is_named_in_no_entry_of_the_log(client, keeper):
    client.post(invited(client, keeper), JOINING)
    nell = Person.objects.get(username="nell")
    make_person("nellie")
    people.set_groups(person=nell, groups=["reviewer"], by=keeper)
    people.leave(person=nell, by=nell, keep_credit=False)
    told = AuditEntry.objects.filter(action__in=["invited", "groups"])
    assert sorted(told.values_list("subject", flat=True)) == [
        f"account {nell.pk} as volunteer",
        f"account {nell.pk}: volunteer → reviewer",
    ]


def test_leaving_needs_a_tick(client, db):
    client.force_login(make_person("ada"))
    page = client.post("/accounts/me/leave/", {})
    assert "Tick this" in page.text
    assert Person.objects.get().is_active


def test_a_closed_account_is_nobody_the_keeper_can_open(client, keeper):
    ada = make_person("ada")
    client.force_login(keeper)
    client.post(f"/keeper/people/{ada.pk}/close/", {"is_sure": "on"})
    assert not Person.objects.get(pk=ada.pk).is_active
    assert client.get(f"/keeper/people/{ada.pk}/").status_code == 404


def test_groups_that_are_none_are_refused(db, keeper):
    with pytest.raises(ValidationError):
        people.set_groups(person=keeper, groups=["boss"], by=keeper)
    with pytest.raises(ValidationError):
        people.invite(email="a@example.org", groups=["boss"], by=keeper)


# -- the audit log


def test_signing_in_is_written_down_without_an_address(client, db):
    ada = make_person("ada")
    client.post(
        "/accounts/sign-in/",
        {"username": "ada", "password": PASSWORD},
        REMOTE_ADDR="198.51.100.7",
    )
    entry = AuditEntry.objects.get()
    assert (entry.action, entry.person) == ("signed-in", ada)
    assert "198.51.100.7" not in str(vars(entry))
