"""`manage.py limits "30 H7"`: the limits that a drawing's notation means, and where they come from."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from qcapp.core.errors import QcError
from qcapp.plans.calculators.sizes import read_query, sized

from ._facts import lines, size_facts


class Command(BaseCommand):
    help = 'Print the limits of a size, such as "30 H7", "400 ISO 13920-B" or "max 0.5", with their source.'
    requires_system_checks = []  # a calculator, also where there is no database yet

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("notation", help="size and tolerance as on the drawing, in quotes")
        parser.add_argument("--unit", default="mm", help="unit of measure of size and limits (default mm)")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            answer = sized(read_query(options["notation"], options["unit"]))
        except QcError as error:
            raise CommandError(f"{error.message} ({error.code})") from None
        self.stdout.write(lines(answer.wanted.asked, size_facts(answer)))
