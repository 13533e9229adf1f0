"""Which characteristics are recorded texts: heats, lots and fixtures that an inspector wrote down."""

from __future__ import annotations

import json
from dataclasses import dataclass

from ..models import Checkpoint


@dataclass(frozen=True)
class RecordedCharacteristic:
    """A characteristic that takes a text, and the forms that its revisions asked for."""

    id: int
    key: str
    forms: frozenset[str]


def recorded_characteristics() -> list[RecordedCharacteristic]:
    """Every characteristic with a record checkpoint in any revision, of every family; one query."""
    found: dict[tuple[int, str], set[str]] = {}
    rows = Checkpoint.objects.filter(kind="record").order_by("characteristic_id").distinct()
    for key, name, specified in rows.values_list("characteristic_id", "characteristic__key", "specified"):
        found.setdefault((key, name), set()).add(str(json.loads(specified).get("form") or "text"))
    return [RecordedCharacteristic(key, name, frozenset(forms)) for (key, name), forms in found.items()]
