"""`manage.py sample --lot 100 --aql 1.0 --level II`: how many pieces of a lot to check, and what that tells."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from qcapp.core.errors import QcError
from qcapp.plans.calculators.lots import CAUTION, Lot, lot_plan

from ._facts import Fact, lines


class Command(BaseCommand):
    help = "Print the sampling plan for a lot by attributes, with how often it accepts lots of a given quality."
    requires_system_checks = []  # a calculator, also where there is no database yet

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--lot", type=int, required=True, metavar="N", help="pieces in the lot")
        parser.add_argument("--aql", required=True, help="acceptance quality limit, such as 1.0")
        parser.add_argument("--level", default="II", help="inspection level: S-1 to S-4, I, II (default), III")
        parser.add_argument("--severity", default="normal", help="normal (default), tightened or reduced")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            lot = lot_plan(options["lot"], level=options["level"], aql=options["aql"], severity=options["severity"])
        except QcError as error:
            raise CommandError(f"{error.message} ({error.code})") from None
        heading = f"{lot.headline}, level {lot.level}, AQL {lot.plan.aql}, {lot.plan.severity} inspection"
        self.stdout.write(lines(heading, _facts(lot)))


def _facts(lot: Lot) -> Iterator[Fact]:
    plan = lot.plan
    yield "accept up to", str(plan.accept)
    yield "reject from", str(plan.reject)
    yield "code letter", str(plan.code_letter)
    yield "in words", lot.sentence
    yield "from", plan.source
    for note in lot.notes:
        yield "note", note
    for row in lot.qualities:
        yield f"accepted {row.probability:.0f} %", f"at {row.quality:.2f} {lot.measure} ({lot.model})"
    yield "caution", CAUTION
