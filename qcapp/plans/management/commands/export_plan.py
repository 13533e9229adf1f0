"""`manage.py export_plan FR-200 --output FILE.csv`: the released revision, or another, as a plan file."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from qcapp.core.errors import QcError
from qcapp.plans.queries import released_card, revision_of
from qcapp.plans.services import export_plan


class Command(BaseCommand):
    help = "Write a plan revision as a plan file (docs/plan-file.md) that import_plan reads back."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("family", help="code of the part family, such as FR-200")
        parser.add_argument("--revision", help="letter of the revision; the released one when left out")
        parser.add_argument("--output", type=Path, required=True, help="the file to write")

    def handle(self, *args: Any, **options: Any) -> None:
        family, letter, output = options["family"], options["revision"], options["output"]
        try:
            card = revision_of(family, letter) if letter else released_card(family)
            output.write_text(export_plan(card.id), encoding="utf-8-sig", newline="")
        except QcError as error:
            raise CommandError(f"{error.message} ({error.code})") from None
        except OSError as error:
            raise CommandError(f"{output} cannot be written: {error.strerror}.") from None
        self.stdout.write(f"{card.family_code} revision {card.letter} is in {output}.")
