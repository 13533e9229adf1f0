"""What single checkpoints specify, where their plan as a whole is not at hand."""

from __future__ import annotations

import json
from collections.abc import Collection
from typing import Any

from django.db.models import QuerySet

from qcapp.core.checkpoints.kinds import KINDS

from ..models import Checkpoint


def specs_of(checkpoint_ids: Collection[int]) -> dict[int, Any]:
    """The core's spec of each checkpoint, as its own revision says it; one query."""
    rows = Checkpoint.objects.filter(pk__in=checkpoint_ids).values_list("pk", "kind", "specified")
    return {key: KINDS[kind].read_spec(json.loads(specified)) for key, kind, specified in rows}


def units_of_measure(characteristic_ids: Collection[int]) -> dict[int, str]:
    """What each of these characteristics is measured in, by the last revision released with it; one query."""
    found = _released(characteristic_ids).values_list("characteristic_id", "specified")
    return {key: json.loads(specified).get("unit_of_measure") or "" for key, specified in found}


def titles_of(characteristic_ids: Collection[int]) -> dict[int, str]:
    """Number and title of each of these characteristics, by the last revision released with it; one query."""
    found = _released(characteristic_ids).values_list("characteristic_id", "characteristic__number", "title")
    return {key: f"{number} {title}" for key, number, title in found}


def _released(characteristic_ids: Collection[int]) -> QuerySet[Checkpoint]:
    """Their checkpoints of every revision that was ever released, the last one last."""
    rows = Checkpoint.objects.filter(characteristic__in=characteristic_ids, revision__events__kind="release")
    return rows.order_by("pk")
