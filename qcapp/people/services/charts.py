"""Who may see charts split by welder and inspector: those whom the site names, and nobody else.

`by` is the keeper, or None for the system itself: the shell of the server, or invented data.
"""

from __future__ import annotations

from datetime import datetime

from django.db import transaction

from qcapp.audit.verbs import Verb
from qcapp.core.errors import Conflict, NotFound, Refused

from .. import queries
from ..models import ChartReader, Person
from .keeping import record_change, require_keeper


def name_chart_reader(*, by: Person | None, person: Person, at: datetime) -> None:
    """The person sees charts by welder and inspector from now on, where their roles let them see trends at all.

    Raises Conflict (`charts_already_open`), and Refused (`person_not_here`) for somebody who left.
    """
    with transaction.atomic():
        require_keeper(by, at)
        if not queries.is_here(person, at):
            raise Refused("person_not_here", f"{person.name} does not work here today; name somebody who does.")
        if queries.reads_worker_charts(person):
            raise Conflict("charts_already_open", f"{person.name} is named already; nothing changes.")
        ChartReader.objects.create(person=person, named_by=by, named_at=at)
        record_change(Verb.PERSON_WORKER_CHARTS_OPENED, by, person, at)


def end_chart_reader(*, by: Person | None, person: Person, at: datetime) -> None:
    """The person sees them no longer. Raises NotFound (`charts_not_open`)."""
    with transaction.atomic():
        require_keeper(by, at)
        if not ChartReader.objects.filter(person=person, ended_at=None).update(ended_at=at):
            raise NotFound("charts_not_open", f"{person.name} is not named, so nothing ends.")
        record_change(Verb.PERSON_WORKER_CHARTS_CLOSED, by, person, at)
