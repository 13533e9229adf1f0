"""`manage.py import_plan FILE --family FR-200 --revision D --by 1041`: a plan file becomes a draft."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from qcapp.core.errors import Problems, QcError
from qcapp.people.queries import person_by_badge
from qcapp.plans.plan_file import MAX_BYTES
from qcapp.plans.queries import next_letter
from qcapp.plans.services import import_plan


class Command(BaseCommand):
    help = "Import a plan file (docs/plan-file.md) as a draft, or list every finding and import nothing."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", type=Path)
        parser.add_argument("--family", required=True, help="code of the part family, such as FR-200")
        parser.add_argument("--revision", help="letter of the revision; the next free one when left out")
        parser.add_argument("--by", required=True, help="badge of the person who imports")
        parser.add_argument("--note", default="", help="what changed and why")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            card = import_plan(
                by=person_by_badge(options["by"]),
                family_code=options["family"],
                letter=options["revision"] or next_letter(options["family"]),
                text_or_bytes=_read(options["file"]),
                filename=options["file"].name,
                change_note=options["note"],
                at=timezone.now(),
            )
        except Problems as problems:
            for finding in problems.findings:
                self.stderr.write(_line(finding))
            raise CommandError(problems.message) from None
        except QcError as error:
            raise CommandError(f"{error.message} ({error.code})") from None
        self.stdout.write(
            f"{card.family_code} revision {card.letter} is a draft with {card.checkpoint_count} checkpoints."
        )


def _read(path: Path) -> bytes:
    """The file's bytes, at most one more than allowed. Raises CommandError when it cannot be opened."""
    try:
        with path.open("rb") as file:
            return file.read(MAX_BYTES + 1)
    except OSError as error:
        raise CommandError(f"{path} cannot be read: {error.strerror}.") from None


def _line(finding: dict[str, object]) -> str:
    column = f", {finding['column']}" if finding["column"] else ""
    return f"line {finding['line']}{column}: {finding['message']} ({finding['code']})"
