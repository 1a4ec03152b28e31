"""How the keeper gives somebody an account, or a further role."""

import getpass
import sys

from django.contrib.auth.models import Group
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.core.management import BaseCommand, CommandError
from django.db import transaction

from shared import policy
from shared.models import Person


class Command(BaseCommand):
    help = (
        "Makes an account and puts it in the groups named. For an account that is "
        "there already, adds the groups and leaves its password (manage.py "
        "changepassword sets a new one)."
    )

    def add_arguments(self, parser):
        parser.add_argument("username")
        parser.add_argument(
            "--group",
            action="append",
            required=True,
            choices=policy.GROUPS,
            help="May be given more than once.",
        )
        parser.add_argument(
            "--credit-name", default="", help="The name printed beside their work."
        )
        parser.add_argument("--email", default="")

    @transaction.atomic
    def handle(self, *, username, group, credit_name, email, **options):
        person = Person.objects.filter(username=username).first()
        made = person is None
        if made:
            person = Person(username=username, credit_name=credit_name, email=email)
            _clean(person)
            person.set_password(_password(person))
            person.save()
        person.groups.add(*Group.objects.filter(name__in=group))
        groups = ", ".join(sorted(person.groups.values_list("name", flat=True)))
        word = "Made" if made else "There already"
        self.stdout.write(f"{word}: {username} ({groups})")


def _clean(person):
    try:
        person.full_clean(exclude=["password"])
    except ValidationError as error:
        raise CommandError(" ".join(error.messages))


def _password(person):
    """Ask twice at a terminal; otherwise take one line of what is piped in."""
    if sys.stdin.isatty():
        password = getpass.getpass("Password: ")
        if getpass.getpass("The same again: ") != password:
            raise CommandError("The two passwords differ. Nothing was made.")
    else:
        password = sys.stdin.readline().rstrip("\n")
    try:
        validate_password(password, person)
    except ValidationError as error:
        raise CommandError(" ".join(error.messages))
    return password
