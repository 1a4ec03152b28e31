"""Accounts as the keeper makes them, and what follows from their groups."""

import io

import pytest
from django.contrib.auth.models import AnonymousUser
from django.core.management import CommandError, call_command

from shared import policy
from shared.models import Person
from tests.makers import make_person

PASSWORD = "river stones in May"


def add_person(monkeypatch, *arguments, typed=PASSWORD):
    monkeypatch.setattr("sys.stdin", io.StringIO(f"{typed}\n"))
    said = io.StringIO()
    call_command("add_person", *arguments, stdout=said)
    return said.getvalue().strip()


def test_the_keeper_makes_an_account_with_its_groups(db, client, monkeypatch):
    said = add_person(
        monkeypatch,
        "ada",
        "--group=volunteer",
        "--group=reviewer",
        "--credit-name=Ada R.",
    )
    assert said == "Made: ada (reviewer, volunteer)"
    assert client.login(username="ada", password=PASSWORD)
    person = Person.objects.get()
    assert person.credit == "Ada R."
    assert policy.can_review(person)
    assert not policy.can_write_dossiers(person)


def test_a_further_group_leaves_the_account_and_its_password(db, client, monkeypatch):
    add_person(monkeypatch, "ada", "--group=volunteer")
    said = add_person(monkeypatch, "ada", "--group=officer", typed="another password 9")
    assert said == "There already: ada (officer, volunteer)"
    assert client.login(username="ada", password=PASSWORD)


@pytest.mark.parametrize(
    "arguments, typed",
    [
        (("ada", "--group=volunteer"), "password"),
        (("ada", "--group=volunteer"), ""),
        (("a da", "--group=volunteer"), PASSWORD),
        (("ada", "--group=volunteer", "--email=nowhere"), PASSWORD),
        (("ada", "--group=boss"), PASSWORD),
        (("ada",), PASSWORD),
    ],
)
def test_nothing_is_made_of_what_cannot_stand(db, monkeypatch, arguments, typed):
    with pytest.raises(CommandError):
        add_person(monkeypatch, *arguments, typed=typed)
    assert not Person.objects.exists()


RIGHTS = {
    "can_log_visits": {"volunteer", "reviewer", "officer", "keeper"},
    "can_see_exact_positions": {"volunteer", "reviewer", "officer", "keeper"},
    "can_review": {"reviewer", "keeper"},
    "can_see_originals": {"reviewer", "officer", "keeper"},
    "can_write_dossiers": {"officer", "keeper"},
    "can_import": {"officer", "keeper"},
    "can_keep": {"keeper"},
}


@pytest.mark.parametrize("right", RIGHTS)
def test_what_each_group_may_do(db, right):
    may = getattr(policy, right)
    assert not may(None)
    assert not may(AnonymousUser())
    assert not may(Person.objects.create_user("nobody"))
    for group in policy.GROUPS:
        assert may(make_person(group, group)) is (group in RIGHTS[right]), group
        left = make_person(f"former-{group}", group, is_active=False)
        assert not may(left)


def test_every_right_is_spoken_of_here():
    rights = {name for name in vars(policy) if name.startswith("can_")}
    assert rights == set(RIGHTS)


def test_templates_are_told_the_same(db):
    can = policy.Can(make_person("ada", "officer"))
    assert (can.log_visits, can.write_dossiers) == (True, True)
    assert (can.review, can.keep) == (False, False)
