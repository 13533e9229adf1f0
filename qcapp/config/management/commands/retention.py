"""`manage.py retention`: what is kept for how long; with --apply, what is past its period is forgotten."""

from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand
from django.db import transaction
from django.utils import timezone

from qcapp.audit.services import record
from qcapp.audit.verbs import Verb
from qcapp.config.retention.kinds import kinds, waiting


class Command(BaseCommand):
    help = "Print the table of retention. --apply forgets what is past its period; it cannot be undone."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--apply", action="store_true", help="forget what is past its period")

    def handle(self, *args: Any, **options: Any) -> None:
        at = timezone.now()
        if not options["apply"]:
            self.stdout.write("\n".join(f"{kind.name}\n  kept {kind.period}; then {kind.then}." for kind in kinds()))
            counts = waiting(at)
            self.stdout.write(f"{counts['names']} names and {counts['sessions']} sessions are past their period.")
            return
        done = {kind.name: kind.apply(at) for kind in kinds() if kind.apply}
        if any(done.values()):
            with transaction.atomic():
                record(verb=Verb.RETENTION_APPLIED, actor=None, subject="site", at=at, payload={"forgotten": done})
        self.stdout.write("\n".join(f"{name}: {count} forgotten." for name, count in done.items()))
