"""`manage.py rebuild_answers`: bring the current answers in line with the results, or only compare them."""

from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from qcapp.inspections.services.projection import differences, rebuild


class Command(BaseCommand):
    help = "Rebuilds the current answers from the results. With --check it compares and changes nothing."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--check", action="store_true", help="only compare; exit code 1 when they differ")

    def handle(self, *args: Any, **options: Any) -> None:
        found = differences() if options["check"] else rebuild()
        for one in found:
            place = (
                f"item {one.item_id}, checkpoint {one.checkpoint_id}, round {one.round}, inspection {one.inspection}"
            )
            self.stdout.write(f"{place}: stored {one.stored}, the results say {one.expected}")
        if options["check"] and found:
            raise CommandError(f"{len(found)} current answers are not what the results say. Run without --check.")
        self.stdout.write(f"{len(found)} put right." if found else "Every current answer is what the results say.")
