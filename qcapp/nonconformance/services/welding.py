"""A weld begun by somebody without the qualification, where the site records it: with a report, in one transaction."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING

from django.db import transaction

from qcapp.production.services.welding import Arc, start_weld

from .by_hand import raise_by_hand

if TYPE_CHECKING:
    from qcapp.people.models import Person


def start_weld_or_report(
    *, by: Person, arc: Arc, unqualified: str, at: datetime, welder: Person | None = None
) -> str | None:
    """As `start_weld`; gives the number of the report about what did not fit, or None. Raises as `start_weld`."""
    with transaction.atomic():
        started = start_weld(by=by, welder=welder, arc=arc, unqualified=unqualified, at=at)
        if not started.findings or not started.new:
            return None
        title = f"Welded without qualification: {', '.join(arc.joints)}"[:160]
        said = " ".join(started.findings)
        return raise_by_hand(by=by, serial=arc.serial, title=title, description=said, severity="major", at=at)
