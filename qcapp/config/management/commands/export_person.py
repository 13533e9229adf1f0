"""`manage.py export_person`: everything that is kept about one person, as a ZIP file of JSON."""

from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from qcapp.config.retention.exporting import export_person
from qcapp.core.errors import QcError
from qcapp.people import queries


class Command(BaseCommand):
    help = "Write everything that is kept about a person into a ZIP file; the audit says that it was done."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("badge", help="badge of the person")
        parser.add_argument("file", type=Path, help="the ZIP file to make")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            person = queries.person_by_badge(options["badge"])
            counts = export_person(person=person, file=options["file"], at=timezone.now())
        except QcError as error:
            raise CommandError(error.message) from error
        except OSError as error:
            raise CommandError(f"{options['file']} cannot be written: {error.strerror}.") from error
        self.stdout.write(f"{sum(counts.values())} rows about {person.name} are in {options['file']}.")
