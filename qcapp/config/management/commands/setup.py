"""`manage.py setup`: the first start of a site, by plain questions with defaults."""

from __future__ import annotations

import getpass
import json
import os
import subprocess
import sys
from argparse import SUPPRESS, ArgumentParser
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError
from django.db import transaction
from django.utils import timezone

from qcapp.config import setting_up
from qcapp.core.errors import QcError
from qcapp.people import services
from qcapp.people.queries import people_cards
from qcapp.people.roles import Role


class Command(BaseCommand):
    help = (
        "Set up a new site: asks for its name, address, time zone, language, units, paper, database and first keeper, "
        "writes the file of settings and the keys, makes the tables and the key that signs "
        "certificates. Nothing is written before the last answer; a site that exists is left alone."
    )
    requires_system_checks: list[str] = []  # the settings are what it is about to write

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--file", type=Path, default=Path("qcapp.env"), help="the file of settings (qcapp.env)")
        parser.add_argument("--data", type=Path, default=Path(".data"), help="the data folder (.data)")
        # The second half runs in a process of its own, which begins with the settings that the first half wrote.
        parser.add_argument("--second-half", action="store_true", help=SUPPRESS)

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            if options["second_half"]:
                self._second_half(json.load(sys.stdin))
            else:
                self._first_half(options["file"].absolute(), options["data"].absolute())
        except QcError as error:
            raise CommandError(error.message) from error

    def _first_half(self, file: Path, data: Path) -> None:
        asking = setting_up.Asking(input, getpass.getpass, self.stdout.write)
        told = setting_up.settings_from(asking, os.environ)
        keeper = setting_up.keeper_from(asking)
        words = "A passphrase for the key that signs certificates; keep a copy away from this machine"
        passphrase = setting_up.twice(asking, words, setting_up.SHORTEST_PASSPHRASE)
        setting_up.write_settings(file, told, data, passphrase)
        env = os.environ | told | {"QCAPP_DATA_DIR": str(data)}
        manage = [sys.executable, str(settings.BASE_DIR / "manage.py"), "setup", "--second-half"]
        ended = subprocess.run(manage, input=json.dumps(keeper), text=True, env=env, check=False)  # noqa: S603 - ourselves
        if ended.returncode:
            todo = "Mend what is said above, then run manage.py migrate, add_person and make_signing_key."
            raise CommandError(f"{file} and the keys in {data} are written and stay. {todo}")
        self.stdout.write(f"\nThe settings are in {file}, the keys in {data}. Copy the folder {data / 'keys'} and the")
        self.stdout.write("passphrase to a safe place: no backup holds them. How to start the server: docs/deploy.md.")

    def _second_half(self, keeper: dict[str, str]) -> None:
        call_command("migrate", verbosity=0)
        call_command("check", deploy=True, databases=["default"])
        call_command("collectstatic", interactive=False, verbosity=0)
        now = timezone.now()
        if people_cards(now, with_left=True):
            raise CommandError("People exist in this database already: nobody was added.")
        with transaction.atomic():
            person = services.add_person(
                by=None, badge=keeper["badge"], name=keeper["name"], initials=keeper["initials"], at=now
            )
            services.give_role(by=None, person=person, role=Role.KEEPER, at=now)
            services.set_password(by=None, person=person, password=keeper["password"], at=now)
        call_command("make_signing_key")
        self.stdout.write(f"{person.name} signs in with badge {person.badge}, and sets up a second factor first.")
