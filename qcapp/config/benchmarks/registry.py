"""What a benchmark is, where it is registered, and how two things are timed against each other."""

from __future__ import annotations

import gc
import pkgutil
import statistics
import time
from collections.abc import Callable, Iterable, Iterator
from dataclasses import asdict, dataclass
from importlib import import_module

PACKAGE = __package__ or "qcapp.config.benchmarks"


@dataclass(frozen=True)
class Measurement:
    """One line of the table. `ratio` says how many times the baseline's time ours takes, None without a baseline.

    `value` and `baseline` are in `unit`; `against` names what the baseline does; `goal` is in words, and `met` says
    whether it was reached (None where there is no goal). `frames` says how many frames the database held, where that
    is what a growth curve is drawn over.
    """

    name: str
    value: float
    unit: str
    baseline: float | None = None
    ratio: float | None = None
    goal: str = ""
    met: bool | None = None
    against: str = ""
    frames: int | None = None

    def to_json(self) -> dict[str, object]:
        """The line as plain values."""
        return asdict(self)


@dataclass(frozen=True)
class Effort:
    """How much to do. Tests take a tiny `scale`; goals are meant for 1. `seconds` is for what goes on for a time,
    `units` and `results` for what counts frames or results, and 0 where nothing was said. `kept` names a database
    that stays.
    """

    scale: float = 1.0
    repeats: int = 7
    seconds: float = 60
    units: int = 0
    results: int = 0
    kept: str = ""

    def of(self, count: int, least: int = 2) -> int:
        """So many things at this scale."""
        return max(least, int(count * self.scale))


Run = Callable[[Effort], Iterable[Measurement]]


@dataclass(frozen=True)
class Benchmark:
    group: str
    name: str
    run: Run


_BENCHMARKS: dict[tuple[str, str], Benchmark] = {}


def benchmark(group: str, *, name: str) -> Callable[[Run], Run]:
    """Registers a function that yields measurements. Raises ValueError for a name that the group has already."""

    def register(run: Run) -> Run:
        known = _BENCHMARKS.get((group, name))
        if known is not None and known.run.__qualname__ != run.__qualname__:
            raise ValueError(f"The group {group} has a benchmark {name} already.")
        _BENCHMARKS[group, name] = Benchmark(group, name, run)
        return run

    return register


def load() -> tuple[str, ...]:
    """Imports every module of this package; gives the groups there are, in order."""
    for module in pkgutil.iter_modules(import_module(PACKAGE).__path__):
        import_module(f"{PACKAGE}.{module.name}")
    return tuple(sorted({group for group, _ in _BENCHMARKS}))


def of_groups(groups: Iterable[str], only: str = "") -> Iterator[Benchmark]:
    """The benchmarks of these groups in the order registered, of one name if `only` says so."""
    wanted = set(groups)
    for (group, name), found in _BENCHMARKS.items():
        if group in wanted and only in ("", name):
            yield found


def alternate(ours: Callable[[], object], theirs: Callable[[], object], repeats: int) -> tuple[float, float]:
    """Median seconds of each, run in turn so that a busy moment of the machine meets both; one run each to warm up."""
    ours()
    theirs()
    taken: tuple[list[float], list[float]] = ([], [])
    for _ in range(repeats):
        for seconds, run in zip(taken, (ours, theirs), strict=True):
            seconds.append(_seconds(run))
    return statistics.median(taken[0]), statistics.median(taken[1])


def _seconds(run: Callable[[], object]) -> float:
    """Seconds of one run, with the collector of garbage held still as `timeit` does."""
    gc.collect()
    gc.disable()
    try:
        begin = time.perf_counter()
        run()
        return time.perf_counter() - begin
    finally:
        gc.enable()
