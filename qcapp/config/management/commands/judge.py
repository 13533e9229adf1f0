"""`manage.py judge 25.412 --nominal 25.4 --notation H7`: the verdict on a value, its limits and its rule."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from qcapp.core.errors import QcError
from qcapp.core.metrology.quantities import parse_value
from qcapp.lib.band_picture import word
from qcapp.plans.calculators.sizes import Sized, Wanted, sized

from ._facts import lines, size_facts


class Command(BaseCommand):
    help = "Print the verdict on a measured value: in band, near limit or out of band."
    requires_system_checks = []  # a calculator, also where there is no database yet

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("value", help="the measured value, digit for digit")
        parser.add_argument("--notation", required=True, help="tolerance as on the drawing; a leading minus: =-0.1/0.2")
        parser.add_argument("--nominal", help="size that the tolerance stands beside, where it needs one")
        parser.add_argument("--unit", default="mm", help="unit of measure of all numbers (default mm)")
        parser.add_argument("--uncertainty", help="expanded uncertainty U of the measurement; makes the rule guarded")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            answer = _judged(options)
        except QcError as error:
            raise CommandError(f"{error.message} ({error.code})") from None
        verdict = [
            ("verdict", word(answer.verdict)),
            ("because", answer.verdict_sentence),
            ("rule", answer.rule_sentence),
        ]
        self.stdout.write(lines(f"{options['value']} at {answer.wanted.asked}", [*verdict, *size_facts(answer)]))


def _judged(options: dict[str, Any]) -> Sized:
    unit = options["unit"]
    nominal, uncertainty = (
        None if options[name] is None else parse_value(options[name], units=(unit,))
        for name in ("nominal", "uncertainty")
    )
    return sized(
        Wanted(nominal, options["notation"], unit),
        value=parse_value(options["value"], units=(unit,)),
        expanded_uncertainty=uncertainty,
    )
