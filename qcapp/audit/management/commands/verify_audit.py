"""`manage.py verify_audit`: walks the chain, checks payloads, compares the anchors.

Exit status 1 when something does not hold, and 2 when nothing outside the database could be compared although anchors
have been due for long: taking the file away must not pass a nightly check.
"""

from __future__ import annotations

import json
from argparse import ArgumentParser
from datetime import timedelta
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from qcapp.audit import anchors
from qcapp.audit.queries import ChainReport, began_at, check_chain
from qcapp.audit.services import utc_text
from qcapp.core.errors import Invalid
from qcapp.lib.notes import note

ANCHOR_DUE = timedelta(days=2)  # anchors are written every night; a site that began yesterday may have none


class Command(BaseCommand):
    help = "Check that no act was changed, removed, inserted or cut off. Names the first broken entry."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--anchors", type=Path, metavar="FILE", help="compare these too: a copy, or saved e-mails")
        parser.add_argument("--json", action="store_true", help="print one JSON object")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            report = check_chain(options["anchors"])
        except PermissionError as error:
            message = (
                f"{error.filename} may not be read by the user who runs this; give a copy that this user may read."
            )
            raise CommandError(message) from error
        except (Invalid, OSError) as error:
            raise CommandError(str(error)) from error
        note("audit_checked", at=utc_text(timezone.now()), holds=report.holds, entries=report.entries)
        self.stdout.write(json.dumps(_as_json(report)) if options["json"] else _in_words(report))
        if not report.holds:
            raise CommandError("The audit chain does not hold.", returncode=1)
        if not report.anchors_checked and _anchors_are_due():
            raise CommandError(
                "This site is older than two days, so it had anchors. Compare with a copy or a saved message: "
                "verify_audit --anchors FILE.",
                returncode=2,
            )


def _anchors_are_due() -> bool:
    began = began_at()
    return began is not None and timezone.now() - began > ANCHOR_DUE


def _as_json(report: ChainReport) -> dict[str, object]:
    broken = report.broken
    return {
        "holds": report.holds,
        "entries": report.entries,
        "first_broken": broken.number if broken else None,
        "reason": broken.reason.value if broken else "",
        "message": broken.message if broken else "",
        "anchors_checked": report.anchors_checked,
        "anchor_problem": report.anchor_problem,
    }


def _in_words(report: ChainReport) -> str:
    lines = [f"{report.entries} entries and {report.anchors_checked} anchors checked."]
    if report.broken:
        lines.append(f"First broken entry: {report.broken.number} ({report.broken.reason}). {report.broken.message}")
    if report.anchor_problem:
        lines.append(report.anchor_problem)
    if report.holds and not report.anchors_checked:
        lines.append(f"No anchor in {anchors.anchor_file()}: a cut end or a full rewrite would not show.")
    elif report.holds:
        lines.append("Everything holds.")
    return "\n".join(lines)
