"""`manage.py import_results FILE --by BADGE`: record the results of a file; rows that cannot be used are kept."""

from __future__ import annotations

import csv
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from qcapp.core.errors import QcError
from qcapp.inspections.services import import_results
from qcapp.inspections.services.results_file import ImportReport
from qcapp.lib.tables import harmless
from qcapp.people.queries import person_by_badge


class Command(BaseCommand):
    help = "Records the results in a CSV file. Its columns are described in docs/results-file.md."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", type=Path)
        parser.add_argument("--by", required=True, metavar="BADGE", help="badge of the person who imports")
        parser.add_argument("--rejects", type=Path, help="where rejected rows go; FILE.rejects.csv by default")

    def handle(self, *args: Any, **options: Any) -> None:
        path: Path = options["file"]
        try:
            with path.open("rb") as stream:
                report = import_results(by=person_by_badge(options["by"]), stream=stream, at=timezone.now())
        except OSError as error:
            raise CommandError(f"{path} cannot be read: {error.strerror}.") from None
        except QcError as refusal:
            raise CommandError(f"{refusal.message} ({refusal.code})") from None
        self._tell(report, options["rejects"] or path.with_name(path.name + ".rejects.csv"))

    def _tell(self, report: ImportReport, rejects: Path) -> None:
        counts = f"{report.applied} recorded, {report.duplicates} known before, {len(report.rejects)} rejected."
        self.stdout.write(counts)
        if report.reports:
            self.stdout.write(f"Nonconformance reports: {', '.join(report.reports)}")
        for reject in report.rejects:
            self.stdout.write(f"line {reject.line}: {reject.reason} ({reject.code})")
        if report.rejects:
            write_rejects(report, rejects)
            self.stdout.write(f"The rejected rows are in {rejects}.")


def write_rejects(report: ImportReport, path: Path) -> None:
    """The rejected rows as they were, with line, code and reason in front."""
    with path.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.writer(stream)
        writer.writerow(["line", "code", "reason_rejected", *report.columns])
        for reject in report.rejects:
            cells = [harmless(reject.row.get(column, "")) for column in report.columns]
            writer.writerow([reject.line, reject.code, reject.reason, *cells])
