"""`manage.py end_second_factor`: for a keeper who has lost authenticator and codes."""

from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from qcapp.core.errors import QcError
from qcapp.people import queries, services


class Command(BaseCommand):
    help = "End a person's second factor; all their sessions end, and they set up another at the next sign-in."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("badge", help="badge of the person")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            person = queries.person_by_badge(options["badge"])
            services.end_second_factor(by=None, person=person, at=timezone.now())
        except QcError as error:
            raise CommandError(error.message) from error
        self.stdout.write(f"{person.name} signs in by password alone until a second factor is set up again.")
