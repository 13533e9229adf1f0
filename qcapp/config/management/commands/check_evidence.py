"""`manage.py check_evidence`: every evidence file that a row names is there, with its digest."""

from __future__ import annotations

import json
from argparse import ArgumentParser
from dataclasses import asdict
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from qcapp.audit.services import utc_text
from qcapp.config.backup.evidence import check_evidence
from qcapp.lib.notes import note


class Command(BaseCommand):
    help = "Compare every evidence file with the digest in its row; exit status 1 when one is missing or altered."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--json", action="store_true", help="print one JSON object")

    def handle(self, *args: Any, **options: Any) -> None:
        report = check_evidence()
        at = utc_text(timezone.now())
        note("evidence_checked", at=at, holds=not report.problems, files=report.checked)
        if options["json"]:
            self.stdout.write(json.dumps(asdict(report)))
        else:
            extra = [f"{path} is named by no row." for path in report.extra]
            self.stdout.write("\n".join([*report.problems, *extra, f"{report.checked} evidence files checked."]))
        if report.problems:
            message = f"{len(report.problems)} evidence files are not as they were kept. Restore them from a backup."
            raise CommandError(message, returncode=1)
