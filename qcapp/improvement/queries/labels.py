"""Names of what reports are alike in, as screens say them."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from qcapp.core.errors import NotFound
from qcapp.plans.queries import checkpoints_of, released_card


def label_of(basis: str, value: str, characteristic: Any = None) -> str:
    """505 axle parallel, W7, TF-02, method …"""
    if basis == "checkpoint" and characteristic is not None:
        return f"{characteristic.number} {characteristic.key.replace('_', ' ')}"
    return value


def titles_of(family_codes: Iterable[str]) -> dict[int, str]:
    """Number and title of each characteristic of these families' released plans, by characteristic."""
    found: dict[int, str] = {}
    for code in family_codes:
        try:
            card = released_card(code)
        except NotFound:
            continue
        found |= {one.characteristic_id: f"{one.number} {one.title}" for one in checkpoints_of(card.id)}
    return found
