"""The watch page of a family: every characteristic over the last units, in a handful of queries, kept until a newer
result on those units arrives."""

from __future__ import annotations

from collections import OrderedDict
from dataclasses import dataclass, replace
from datetime import datetime
from threading import Lock

from qcapp.core.errors import NotFound
from qcapp.inspections.queries import series as stored
from qcapp.lib.plain_text import shown
from qcapp.plans.queries import CheckpointCard
from qcapp.production.queries import FamilyCard

from ..readings import Series
from ..signals import Episode, open_episodes, set_aside
from ..watch import SIGNAL, WINDOW, Watched, watched, worst_first
from .decided import Acknowledged, Decisions, acknowledgements_of, decisions_on
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


def watch_of(named: str | FamilyCard, *, units: int = WINDOW, until: datetime | None = None) -> Watch:
    """The family's characteristics, worst first; as they stood at `until`, for a report.

    Raises NotFound `family_unknown`.
    """
    found = _computed(subject_of(named), units, until)
    return replace(found, entries=tuple(worst_first(_looked_into(found.entries))))


def _computed(subject: Subject, units: int, until: datetime | None = None) -> Watch:
    """The page before acknowledgements, kept while nothing it is computed from changes."""
    cards = [card for card in subject.cards.values() if card.kind in CHARTED]
    if not subject.cards:
        said = f"{subject.family.code} has no released inspection plan, so nothing is watched yet."
        return Watch(subject.family, 0, (), said)
    items = stored.newest_items(subject.family.id, units, until=until)
    newest = stored.newest_result_of_items(items)
    if not newest:
        return Watch(subject.family, len(items), (), f"No result has been recorded for {subject.family.code} yet.")
    decided = decisions_on([card.characteristic_id for card in cards])
    key = (subject.family.id, subject.revision, subject.family.code, newest, tuple(items), decided.mark, until)
    with _lock:
        entries = _kept.get(key)
    if entries is None:
        entries = tuple(_judged(_all_series(subject, cards, items, until), decided))
        with _lock:
            _kept[key] = entries
            while len(_kept) > KEPT:
                _kept.popitem(last=False)
    return Watch(subject.family, len(items), entries)


def _judged(many: list[Series], decided: Decisions) -> list[Watched]:
    left = [decided.apply(series) for series in many]
    return worst_first([watched(series, frozen=decided.held(series)) for series in left])


def _looked_into(entries: tuple[Watched, ...]) -> list[Watched]:
    """The entries with what people acknowledged since they were computed; one query."""
    signalled = [entry.series.characteristic_id for entry in entries if entry.rank == SIGNAL]
    if not signalled:
        return list(entries)
    known = acknowledgements_of(signalled)
    return [set_aside(entry, known.get(entry.series.characteristic_id, [])) for entry in entries]


@dataclass(frozen=True)
class Signals:
    """The signals of one characteristic on the watch page: those that wait, and what was said of others."""

    entry: Watched
    waiting: tuple[Episode, ...]
    acknowledged: tuple[Acknowledged, ...]


def signals_of(family_code: str, key: str) -> Signals:
    """Raises NotFound `family_unknown`, `characteristic_unknown`."""
    watch = _computed(subject_of(family_code), WINDOW)
    entry = next((one for one in watch.entries if one.series.key == key), None)
    if entry is None:
        message = f"{watch.family.code} watches no characteristic {shown(key)}; choose one on the watch page."
        raise NotFound("characteristic_unknown", message)
    known = acknowledgements_of([entry.series.characteristic_id]).get(entry.series.characteristic_id, [])
    return Signals(entry, open_episodes(entry, known), tuple(known))


def newest_of(family_id: int) -> int:
    """The newest result on the units that the watch page looks at, 0 without any; two queries."""
    items = stored.newest_items(family_id, WINDOW)
    return stored.newest_result_of_items(items) if items else 0


def forget() -> None:
    """Drops what is kept, so that the next page is computed anew: for measuring and for tests."""
    with _lock:
        _kept.clear()


def _all_series(
    subject: Subject, cards: list[CheckpointCard], items: list[int], until: datetime | None
) -> list[Series]:
    gathered = stored.points_of_items(items, [card.characteristic_id for card in cards])
    checkpoints = stored.checkpoints_at(point for some in gathered.points.values() for point in some)
    fixtures = stored.texts_of(items, subject.fixture_ids) if subject.fixture_ids else {}
    around = Surroundings(fixtures=fixtures)
    found = []
    for card in cards:
        secret = secrets_of(subject, card.key, gathered.waiting)
        kept = [point for point in gathered.points.get(card.characteristic_id, ()) if point.item_id not in secret]
        if until is not None:
            kept = [point for point in kept if point.recorded_at < until]
        found.append(build(subject, card, kept, checkpoints, around))
    return found
