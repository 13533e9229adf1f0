"""Saying of a signal that somebody looked into it, and what was found."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING

from django.db import transaction

from qcapp.audit.services import record
from qcapp.audit.verbs import Verb
from qcapp.core.errors import Refused
from qcapp.lib.plain_text import plain_text
from qcapp.people.roles import Act
from qcapp.people.services import require

from ..models import Acknowledgement
from ..queries import signals_of

if TYPE_CHECKING:
    from qcapp.people.models import Person


def acknowledge_signal(
    *,
    by: Person,
    family_code: str,
    key: str,
    rule: str,
    fixture: str,
    first_serial: str,
    reason: str,
    at: datetime,
    action: str = "",
) -> Acknowledgement:
    """Take a signal off the top of the watch page; it comes back when it goes on for ten further points.

    `action` is the number of the corrective action that it was turned into. Raises NotFound as `series_of`, Refused
    `no_such_signal` when the charts do not show it (any more) or it was acknowledged before, NotAllowed.
    """
    require(by, Act.ACKNOWLEDGE_SIGNAL, at)
    said = plain_text("The reason", reason, longest=300)
    number = plain_text("The corrective action", action, longest=20, needed=False)
    with transaction.atomic():
        found = signals_of(family_code, key)
        wanted = (rule, fixture, first_serial)
        episode = next((one for one in found.waiting if (one.rule, one.fixture, one.first_serial) == wanted), None)
        if episode is None:
            message = "This signal is not waiting: it was acknowledged, or has ended. Look at the page again."
            raise Refused("no_such_signal", message)
        row = Acknowledgement.objects.create(
            characteristic_id=found.entry.series.characteristic_id, rule=episode.rule, fixture=episode.fixture,
            first_result_id=episode.first_result_id, points=episode.points, sentence=episode.sentence[:300],
            reason=said, action=number, by=by, at=at,
        )  # fmt: skip
        record(
            verb=Verb.TREND_SIGNAL_ACKNOWLEDGED,
            actor=by.uuid,
            subject=f"characteristic {found.entry.series.family_code} {found.entry.series.key}",
            at=at,
            payload={"signal": episode.sentence, "fixture": episode.fixture, "reason": said, "action": number},
        )
    return row
