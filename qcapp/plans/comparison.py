"""Two revisions of a plan side by side, and what one revision should be looked at for.

Plain values in and out.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from qcapp.core.metrology.bands import Band

from .cards import CheckpointCard, Difference, FieldChange

# What a change of method means for the engineer: how a value is come by.
_METHOD = (
    "kind", "method", "set-up", "gauges", "second inspection", "readings", "mean", "part temperature", "formula",
    "variants", "hours after welding",
)  # fmt: skip
_LIMITS = ("limits", "nominal", "unit of measure")

_FIELDS: dict[str, Callable[[CheckpointCard], str]] = {
    "stage": lambda card: str(card.stage_number),
    "title": lambda card: card.title,
    "kind": lambda card: card.kind,
    "limits": lambda card: f"{card.notation} ({card.limits_text})" if card.notation else card.limits_text,
    "nominal": lambda card: str(card.spec_json.get("nominal") or ""),
    "unit of measure": lambda card: card.unit_of_measure,
    "guard": lambda card: str(card.spec_json.get("guard") or ""),
    "decimals": lambda card: str(card.spec_json.get("decimals") or ""),
    "readings": lambda card: str(card.spec_json.get("readings") or ""),
    "mean": lambda card: "counts" if card.mean else "",
    "part temperature": lambda card: str(card.spec_json.get("temperature") or ""),
    "formula": lambda card: str(card.spec_json.get("formula") or ""),
    "form": lambda card: str(card.spec_json.get("form") or ""),
    "criticality": lambda card: card.criticality,
    "method": lambda card: card.method,
    "set-up": lambda card: card.setup_label,
    "gauges": lambda card: ", ".join(card.gauge_kinds),
    "when": lambda card: card.frequency,
    "variants": lambda card: card.variants,
    "hours after welding": lambda card: str(card.after_weld_hours or ""),
    "second inspection": lambda card: "yes" if card.second_inspection else "no",
    "photo": lambda card: "yes" if card.photo else "no",
    "joint": lambda card: card.joint,
    "drawing": lambda card: f"{card.document_number} rev {card.document_revision}" if card.document_number else "",
    "instruction": lambda card: card.instruction,
    "caution": lambda card: card.caution,
    "paired with": lambda card: card.paired_with,
    "on the drawing": lambda card: str(card.balloon or ""),
    "reference picture": lambda card: str(card.picture or ""),
}


def differences(old: Sequence[CheckpointCard], new: Sequence[CheckpointCard]) -> list[Difference]:
    """Checkpoints added, changed and removed, matched by key: the new revision's order, then the removed."""
    before = {card.key: card for card in old}
    after = {card.key for card in new}
    found: list[Difference] = []
    for card in new:
        if card.key not in before:
            found.append(Difference("added", card.number, card.key, card.title))
        elif changes := _changes(before[card.key], card):
            found.append(Difference("changed", card.number, card.key, card.title, changes))
    removed = [Difference("removed", card.number, card.key, card.title) for card in old if card.key not in after]
    return found + removed


def _changes(old: CheckpointCard, new: CheckpointCard) -> tuple[FieldChange, ...]:
    return tuple(
        FieldChange(name, read(old), read(new), _EFFECTS[name](old, new) if name in _EFFECTS else "")
        for name, read in _FIELDS.items()
        if read(old) != read(new)
    )


def _effect(old: CheckpointCard, new: CheckpointCard) -> str:
    """How the interval between the limits changed; empty where the two cannot be held side by side."""
    before, after = getattr(old.spec, "band", None), getattr(new.spec, "band", None)
    if not isinstance(before, Band) or not isinstance(after, Band) or old.unit_of_measure != new.unit_of_measure:
        return ""
    if (before.lower, before.upper) == (after.lower, after.upper):
        return "same limits"
    if _inside(after, before):
        return "tightened"
    return "loosened" if _inside(before, after) else "moved"


def _balloon_effect(old: CheckpointCard, new: CheckpointCard) -> str:
    if old.balloon and new.balloon:
        return "balloon moved"
    return "balloon new" if new.balloon else "balloon gone"


_EFFECTS: dict[str, Callable[[CheckpointCard, CheckpointCard], str]] = {
    "limits": _effect,
    "on the drawing": _balloon_effect,
}


def _inside(inner: Band, outer: Band) -> bool:
    """Whether every value inside the one is inside the other."""
    lower = outer.lower is None or (inner.lower is not None and inner.lower >= outer.lower)
    upper = outer.upper is None or (inner.upper is not None and inner.upper <= outer.upper)
    return lower and upper


def critical_changes(old: Sequence[CheckpointCard], new: Sequence[CheckpointCard]) -> list[int]:
    """Numbers of checkpoints, critical before or after, whose limits or method are new, changed or gone.

    And of those, whatever their criticality, that begin or cease to judge the mean of their readings.
    """
    before = {card.key: card for card in old}
    after = {card.key: card for card in new}
    numbers = {
        card.number
        for key in before.keys() | after.keys()
        for card in [after.get(key) or before[key]]
        if _concerns_engineer(before.get(key), after.get(key))
    }
    return sorted(numbers)


def _mean_differs(old: CheckpointCard | None, new: CheckpointCard) -> bool:
    """Whether the mean of the readings begins or ceases to count, or is of another number of them."""
    if old is None or old.mean != new.mean:
        return new.mean or (old is not None and old.mean)
    return new.mean and _FIELDS["readings"](old) != _FIELDS["readings"](new)


def _concerns_engineer(old: CheckpointCard | None, new: CheckpointCard | None) -> bool:
    if new is not None and _mean_differs(old, new):
        return True  # readings count one by one, unless the engineer signs for their mean
    if not ((old and old.critical) or (new and new.critical)):
        return False
    if old is None or new is None or old.criticality != new.criticality:
        return True
    return any(_FIELDS[name](old) != _FIELDS[name](new) for name in (*_LIMITS, *_METHOD, "guard", "decimals"))
