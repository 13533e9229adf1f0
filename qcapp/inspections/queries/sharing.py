"""Which items share a recorded text, a gauge, an inspector or a plan revision: sets of keys over the whole history."""

from __future__ import annotations

from collections.abc import Collection
from datetime import datetime
from typing import Any

from django.db.models import Q, QuerySet
from django.db.models.functions import Left

from qcapp.core.sealing import canonical

from ..models import TEXT_INDEXED, Adoption, Result


def items_recorded(
    characteristic_ids: Collection[int], text: str, since: datetime | None = None, until: datetime | None = None
) -> set[int]:
    """The items on which this text stands at one of these characteristics, in any round, as it counts now.

    Marks are recorded in capitals, so the text is looked for as it is and in capitals.
    """
    rows = with_text({text, text.upper()}).filter(characteristic__in=characteristic_ids, current_for__isnull=False)
    return _items(_between(rows, since, until))


def items_noting(text: str) -> dict[str, set[int]]:
    """The items on which this text stands as it counts now, by the key of the characteristic; one query."""
    found: dict[str, set[int]] = {}
    rows = with_text({text, text.upper()}).filter(current_for__isnull=False).order_by()
    for key, item in rows.values_list("characteristic__key", "item_id").distinct():
        found.setdefault(key, set()).add(item)
    return found


def with_text(texts: Collection[str]) -> QuerySet[Result]:
    """Results that record one of these texts, whatever counts now; found by the index over recorded texts."""
    wanted = {canonical({"text": one}) for one in texts}
    begun = {one[:TEXT_INDEXED] for one in wanted}
    rows = Result.objects.annotate(begun=Left("answer", TEXT_INDEXED))
    return rows.filter(outcome="recorded", begun__in=begun, answer__in=wanted)


def items_measured_by_gauge(gauge_id: int, since: datetime | None, until: datetime | None) -> set[int]:
    """The items that a gauge measured in this time, whatever became of the readings."""
    return _items(_between(Result.objects.filter(gauge=gauge_id), since, until))


def items_inspected_by(person_ids: Collection[int], since: datetime | None, until: datetime | None) -> set[int]:
    """The items on which these people answered a checkpoint in this time."""
    return _items(_between(Result.objects.filter(person__in=person_ids), since, until))


def items_on_plan(family_code: str, letter: str) -> set[int]:
    """The items that were ever inspected to a plan revision."""
    rows = Adoption.objects.filter(revision__family__code__iexact=family_code, revision__letter__iexact=letter)
    return set(rows.values_list("item_id", flat=True))


def _between(rows: QuerySet[Result], since: datetime | None, until: datetime | None) -> QuerySet[Result]:
    """`until` is left out, as the instant at which the last day ends."""
    which = Q()
    if since is not None:
        which &= Q(recorded_at__gte=since)
    if until is not None:
        which &= Q(recorded_at__lt=until)
    return rows.filter(which)


def _items(rows: QuerySet[Result]) -> set[int]:
    found: Any = rows.order_by().values_list("item_id", flat=True).distinct()
    return set(found)
