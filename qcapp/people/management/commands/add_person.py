"""`manage.py add_person`: an account from the shell of the server, such as the first keeper's."""

from __future__ import annotations

import getpass
from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.db import transaction
from django.utils import timezone

from qcapp.core.errors import QcError
from qcapp.people import services
from qcapp.people.roles import Role


class Command(BaseCommand):
    help = "Add a person, with roles and a password that is asked for. The audit names the system as the actor."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("badge")
        parser.add_argument("name")
        parser.add_argument("initials")
        parser.add_argument("--role", action="append", default=[], choices=[role.value for role in Role])
        parser.add_argument("--stamp", default="")
        parser.add_argument("--email", default="")
        parser.add_argument("--no-password", action="store_true", help="ask for no password; nobody signs in yet")

    def handle(self, *args: Any, **options: Any) -> None:
        password = "" if options["no_password"] else _asked_twice()
        try:
            self._add(password, options)
        except QcError as error:
            raise CommandError(error.message) from error
        self.stdout.write(f"{options['name']} is added with badge {options['badge']}.")

    def _add(self, password: str, options: dict[str, Any]) -> None:
        now = timezone.now()
        fields = {name: options[name] for name in ("badge", "name", "initials", "stamp", "email")}
        with transaction.atomic():
            person = services.add_person(by=None, at=now, **fields)
            for role in options["role"]:
                services.give_role(by=None, person=person, role=Role(role), at=now)
            if password:
                services.set_password(by=None, person=person, password=password, at=now)


def _asked_twice() -> str:
    password = getpass.getpass("Password: ")
    if password != getpass.getpass("Again: "):
        raise CommandError("The two passwords differ. Nobody was added; try again.")
    return password
