"""A chart's signal turned into a corrective action: opened for its checkpoint, and the signal acknowledged with it."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING

from django.db import transaction

from qcapp.audit.verbs import Verb
from qcapp.core.errors import Refused
from qcapp.lib.plain_text import plain_text
from qcapp.people.roles import Act
from qcapp.people.services import require
from qcapp.trends.queries import signals_of
from qcapp.trends.services import acknowledge_signal

from ..cards import Cluster, Signalled
from ..models import ActionStatus
from .opening import create
from .steps_of_life import enter, move

if TYPE_CHECKING:
    from qcapp.people.models import Person


@transaction.atomic
def open_action_for_signal(*, by: Person, about: Signalled, title: str, problem: str, at: datetime) -> str:
    """The number of a new corrective action; it answers no report, and its effect is that on the checkpoint.

    Raises NotAllowed, NotFound as `signals_of`, Refused `no_such_signal`, Conflict `action_running` when one runs for
    the checkpoint already: acknowledge the signal with its number then.
    """
    require(by, Act.LEAD_ACTION, at)
    title = plain_text("The title", title, longest=160)
    problem = plain_text("The problem", " ".join(problem.split()), longest=600)
    row = create(_cluster(about), title, problem, by, at)
    move(row, "accept", by=by, at=at)
    ActionStatus.objects.filter(pk=row.status.pk).update(owner=by)
    acknowledge_signal(
        by=by, family_code=about.family_code, key=about.key, rule=about.rule, fixture=about.fixture,
        first_serial=about.first_serial, reason=f"Corrective action {row.number}: {title}"[:300], action=row.number,
        at=at,
    )  # fmt: skip
    enter(row, Verb.ACTION_OPENED, by=by, at=at, title=title, reports=[])
    return row.number


def sentence_of(about: Signalled) -> str:
    """What the signal says. Raises NotFound as `signals_of`, Refused `no_such_signal`."""
    wanted = (about.rule, about.fixture, about.first_serial)
    for one in signals_of(about.family_code, about.key).waiting:
        if (one.rule, one.fixture, one.first_serial) == wanted:
            return one.sentence
    message = "This signal is not waiting: it was acknowledged, or has ended. Look at the page again."
    raise Refused("no_such_signal", message)


def _cluster(about: Signalled) -> Cluster:
    series = signals_of(about.family_code, about.key).entry.series
    label = f"{series.number} {series.title}"
    known = series.characteristic_id
    return Cluster("checkpoint", str(known), label, about.family_code, known, (), over_threshold=False)
