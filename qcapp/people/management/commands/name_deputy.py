"""`manage.py name_deputy`: somebody stands in between two days, named by a keeper."""

from __future__ import annotations

from argparse import ArgumentParser
from datetime import date
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from qcapp.core.errors import QcError
from qcapp.people import queries, services
from qcapp.people.roles import DEPUTIZABLE, Role


class Command(BaseCommand):
    help = "Name a deputy for one role of a person, from a first to a last day, both included."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("person", help="badge of the person stood in for")
        parser.add_argument("deputy", help="badge of the deputy")
        parser.add_argument("role", choices=sorted(role.value for role in DEPUTIZABLE))
        parser.add_argument("first_day", type=date.fromisoformat, help="such as 2026-03-01")
        parser.add_argument("last_day", type=date.fromisoformat)
        parser.add_argument("--by", required=True, help="badge of the keeper who names the deputy")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            row = services.name_deputy(
                by=queries.person_by_badge(options["by"]),
                person=queries.person_by_badge(options["person"]),
                deputy=queries.person_by_badge(options["deputy"]),
                role=Role(options["role"]),
                starts_on=options["first_day"],
                ends_on=options["last_day"],
                at=timezone.now(),
            )
        except QcError as error:
            raise CommandError(error.message) from error
        self.stdout.write(f"{row.deputy.name} stands in for {row.person.name} until {row.ends_on}.")
