"""The watch page of a family: every characteristic over the last units, in a handful of queries, kept until a newer
result on those units arrives."""

from __future__ import annotations

from collections import OrderedDict
from dataclasses import dataclass
from threading import Lock

from qcapp.inspections.queries import series as stored
from qcapp.plans.queries import CheckpointCard
from qcapp.production.queries import FamilyCard

from ..readings import Series
from ..watch import WINDOW, Watched, watched, worst_first
from .readings import CHARTED, Subject, Surroundings, build, secrets_of, subject_of

KEPT = 8  # families in a process


@dataclass(frozen=True)
class Watch:
    """The watch page. `refusal` is a sentence where there is nothing to watch."""

    family: FamilyCard
    units: int
    entries: tuple[Watched, ...]
    refusal: str = ""

    @property
    def counts(self) -> dict[str, int]:
        """How many entries stand for each reason."""
        words = [entry.why for entry in self.entries]
        return {word: words.count(word) for word in dict.fromkeys(words)}


_kept: OrderedDict[tuple[object, ...], tuple[Watched, ...]] = OrderedDict()
_lock = Lock()


def watch_of(family_code: str, *, units: int = WINDOW) -> Watch:
    """The family's characteristics, worst first. Raises NotFound `family_unknown`."""
    subject = subject_of(family_code)
    cards = [card for card in subject.cards.values() if card.kind in CHARTED]
    if not subject.cards:
        said = f"{subject.family.code} has no released inspection plan, so nothing is watched yet."
        return Watch(subject.family, 0, (), said)
    items = stored.newest_items(subject.family.id, units)
    newest = stored.newest_result_of_items(items)
    if not newest:
        return Watch(subject.family, len(items), (), f"No result has been recorded for {subject.family.code} yet.")
    key = (subject.family.id, subject.revision, subject.family.code, newest, tuple(items))
    with _lock:
        entries = _kept.get(key)
    if entries is None:
        entries = tuple(worst_first([watched(series) for series in _all_series(subject, cards, items)]))
        with _lock:
            _kept[key] = entries
            while len(_kept) > KEPT:
                _kept.popitem(last=False)
    return Watch(subject.family, len(items), entries)


def forget() -> None:
    """Drops what is kept, so that the next page is computed anew: for measuring and for tests."""
    with _lock:
        _kept.clear()


def _all_series(subject: Subject, cards: list[CheckpointCard], items: list[int]) -> list[Series]:
    gathered = stored.points_of_items(items, [card.characteristic_id for card in cards])
    checkpoints = stored.checkpoints_at(point for some in gathered.points.values() for point in some)
    fixtures = stored.texts_of(items, subject.fixture_ids) if subject.fixture_ids else {}
    around = Surroundings(fixtures=fixtures)
    found = []
    for card in cards:
        secret = secrets_of(subject, card.key, gathered.waiting)
        kept = [point for point in gathered.points.get(card.characteristic_id, ()) if point.item_id not in secret]
        found.append(build(subject, card, kept, checkpoints, around))
    return found
