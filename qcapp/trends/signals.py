"""The signals of the watch page one by one: which episode each is, and which of them somebody has looked into.

An acknowledgement covers the episode that it was given for. When that goes on for more than RECENT further points it is
asked about again: what was known then no longer explains it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Protocol

from qcapp.lib.site_days import site_day

from .readings import Reading
from .watch import ACKNOWLEDGED, QUIET, RECENT, SIGNAL, FixtureSignals, Watched, rank_of, sentence_of
from .words import Spoken


class Known(Protocol):
    """An acknowledgement as the tables give it."""

    @property
    def rule(self) -> str: ...
    @property
    def fixture(self) -> str: ...
    @property
    def first_result_id(self) -> int: ...
    @property
    def points(self) -> int: ...
    @property
    def reason(self) -> str: ...
    @property
    def by_name(self) -> str: ...
    @property
    def at(self) -> datetime: ...


@dataclass(frozen=True)
class Episode:
    """One signal lately: the rule, the fixture whose chart shows it ("" for all units), where it began, how long."""

    rule: str
    fixture: str
    first_result_id: int
    points: int
    sentence: str
    first_serial: str
    last_serial: str
    running: bool


def episodes_of(entry: Watched) -> tuple[Episode, ...]:
    """Every recent signal of an entry, of all units first, then fixture by fixture."""
    results = [sample.readings[0] for sample in entry.chart.samples]
    ends = [sample.readings[-1] for sample in entry.chart.samples]
    found = [_episode(signal, "", results, ends) for signal in entry.recent]
    for one in entry.by_fixture:
        own = [reading for reading in entry.series.readings if reading.fixture == one.fixture]
        found += [_episode(signal, one.fixture, own, own) for signal in one.signals]
    return tuple(found)


def _episode(signal: Spoken, fixture: str, firsts: Sequence[Reading], lasts: Sequence[Reading]) -> Episode:
    first, last = firsts[signal.first], lasts[signal.last]
    where = on_fixture(signal.sentence, fixture)
    return Episode(
        signal.rule, fixture, first.result_id, signal.last - signal.first + 1, where,
        first.serial, last.serial, signal.running,
    )  # fmt: skip


def covers(known: Known, episode: Episode) -> bool:
    """Whether the acknowledgement was given for this episode and still speaks for it."""
    same = (known.rule, known.fixture, known.first_result_id) == (
        episode.rule, episode.fixture, episode.first_result_id,
    )  # fmt: skip
    return same and episode.points <= known.points + RECENT


def open_episodes(entry: Watched, known: Sequence[Known]) -> tuple[Episode, ...]:
    """The signals that nobody has looked into."""
    return tuple(one for one in episodes_of(entry) if not any(covers(each, one) for each in known))


def set_aside(entry: Watched, known: Sequence[Known]) -> Watched:
    """The entry in the rank it has without its acknowledged signals; unchanged where there are none."""
    if entry.rank != SIGNAL or not known:
        return entry
    covered = {one for one in episodes_of(entry) if any(covers(each, one) for each in known)}
    if not covered:
        return entry
    keys = {(one.rule, one.fixture, one.sentence) for one in covered}
    recent = tuple(s for s in entry.recent if (s.rule, "", s.sentence) not in keys)
    fixtures = tuple(replace(one, signals=_without(one, keys)) for one in entry.by_fixture)
    return _ranked_again(replace(entry, recent=recent, by_fixture=fixtures), covered, known)


def _without(one: FixtureSignals, keys: set[tuple[str, str, str]]) -> tuple[Spoken, ...]:
    return tuple(s for s in one.signals if (s.rule, one.fixture, on_fixture(s.sentence, one.fixture)) not in keys)


def on_fixture(sentence: str, fixture: str) -> str:
    """The sentence with the fixture that it is about."""
    return f"{sentence[:-1]}, fixture {fixture}." if fixture else sentence


def _ranked_again(entry: Watched, covered: set[Episode], known: Sequence[Known]) -> Watched:
    said = tuple(dict.fromkeys(_looked(each) for each in known if any(covers(each, one) for one in covered)))
    rank, severity = rank_of(entry)
    sentence = sentence_of(entry, rank)
    if rank == QUIET:
        rank = ACKNOWLEDGED
        sentence = " ".join(one.sentence for one in sorted(covered, key=lambda one: one.first_result_id)[-1:])
        sentence = f"{entry.series.title}: {sentence[0].lower()}{sentence[1:]}"
    return replace(entry, rank=rank, severity=severity, sentence=sentence, looked_into=said)


def _looked(known: Known) -> str:
    day = site_day(known.at)
    return f"{known.by_name}, {day.day} {day:%b %Y}: {known.reason}"
