"""`manage.py affected "heat 7K4412 and not welder W11"`: who is affected, printed, kept under a name, or as a file."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from qcapp.core.errors import Invalid, QcError
from qcapp.people.queries import may, person_by_badge
from qcapp.people.roles import Act

from ...answering import AffectedRow, Answer
from ...asking import SOURCES
from ...papers import names_in, paper
from ...queries import kept_list
from ...services import ask, keep_list


class Command(BaseCommand):
    help = (
        "Print the units that share something: "
        + ", ".join(f"{one.key}{f' <{one.hint}>' if one.hint else ''}" for one in SOURCES.values())
        + "; joined by and, or, not and brackets; from <day> to <day> after those that happened in time."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("question", help='for example: heat 7K4412 and not (welder W11 or fixture "TF 3")')
        parser.add_argument("--keep", metavar="NAME", help="keep the answer as a list of this name; needs --by")
        parser.add_argument("--by", metavar="BADGE", help="who asks; customers are shown to those who may see them")
        parser.add_argument("--to", metavar="FILE", help="write the kept list to a .csv, .xlsx or .pdf; needs --keep")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            self.stdout.write(_told(options))
        except QcError as error:
            raise CommandError(f"{error.message} ({error.code})") from None


def _told(options: dict[str, Any]) -> str:
    at = timezone.now()
    person = person_by_badge(options["by"]) if options["by"] else None
    names = person is not None and may(person, Act.SEE_CUSTOMERS, at)
    if options["to"] and not options["keep"]:
        raise Invalid("list_not_kept", "A file is made from a kept list; give it a name with --keep.")
    if not options["keep"]:
        found = ask(by=person, question=options["question"], at=at, through="command")
        return _lines(found, names=names)
    if person is None:
        raise Invalid("person_missing", "Say who keeps the list with --by BADGE.")
    number = keep_list(by=person, name=options["keep"], question=options["question"], at=at)
    view = kept_list(number)
    if options["to"]:
        target = Path(options["to"])
        target.write_bytes(paper(view, target.suffix.lstrip(".").lower(), names=names)[0])
    return f"Kept as {number}.\n{_lines(view.answer, names=names)}"


def _lines(found: Answer, *, names: bool) -> str:
    known = names_in(found.rows) if names else {}
    head = ", ".join(f"{count} {name}" for name, count in found.counts)
    return "\n".join([found.question, f"{head}; {found.held} on hold", *(_line(row, known) for row in found.rows)])


def _line(row: AffectedRow, names: dict[str, str]) -> str:
    parts = [
        row.standing,
        f"in {row.holder}" if row.holder else "",
        "on hold" if row.on_hold else "",
        row.place,
        names.get(row.customer, ""),
        f"{row.shipped_at:%Y-%m-%d}" if row.shipped_at else "",
    ]
    return f"{row.serial:<16} {', '.join(part for part in parts if part)}"
