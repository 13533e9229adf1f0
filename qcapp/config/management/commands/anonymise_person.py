"""`manage.py anonymise_person`: forget the name of somebody who left longer ago than names are kept."""

from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from qcapp.config.retention.anonymising import anonymise_person
from qcapp.core.errors import QcError
from qcapp.people import queries


class Command(BaseCommand):
    help = "Take name, address and secrets from the row of somebody who left; the badge stays. It cannot be undone."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("badge", help="badge of the person")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            person = queries.person_by_badge(options["badge"])
            count = anonymise_person(person, timezone.now())
        except QcError as error:
            raise CommandError(error.message) from error
        self.stdout.write(f"Badge {person.badge} is anonymised; {count} payloads of the audit chain lost a name.")
