"""Answers judged again with what a calibration found: read values, verdicts, and values computed from what was read."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from decimal import Decimal

from qcapp.core.checkpoints.counted import together
from qcapp.core.checkpoints.derived import Derived
from qcapp.core.errors import QcError
from qcapp.core.metrology.quantities import as_text, convert
from qcapp.core.metrology.rejudging import ErrorCurve, ErrorPoint, Finding, Rejudgement, judge_again
from qcapp.inspections.queries.by_gauge import ComputedReading, GaugeReading, Measured

# A value without the gauge's error and its expanded uncertainty, by each curve; empty where they are not known.
Moved = tuple[tuple[Decimal, Decimal], ...]

GRAVEST_FIRST = (Finding.OUT_OF_BAND, Finding.DOUBTFUL, Finding.STILL_IN_BAND)
KEPT_BACK = "kept for the second inspection"
FAILED_THEN = frozenset({"out_of_band", "does_not_conform"})


@dataclass(frozen=True)
class ReadingAgain:
    """One answer judged again. `corrected` is empty where the error at it is not known.

    `computed` says that it was computed from what the gauge read.
    """

    number: int
    title: str
    limits: str
    value: str
    error: str
    corrected: str
    finding: Finding
    outcome: str
    recorded_at: datetime
    round: int
    inspection: int  # 1, or 2 and 3 of another person
    computed: bool

    @property
    def known_then(self) -> bool:
        """Whether the answer failed as it was recorded, so that a report stands since."""
        return self.outcome in FAILED_THEN


@dataclass(frozen=True)
class Again:
    """What can be said of one answer; error and corrected value are empty where they are not known."""

    value: str
    error: str
    corrected: str
    finding: Finding


@dataclass
class Judge:
    """Judges with the errors as found: a curve for each series of points, none where nothing is known of the error.

    A reading does not tell which series it belongs to, so the gravest counts. With `doubted` nothing is proven.
    """

    curves: Sequence[ErrorCurve]
    uncertainty: Decimal
    unit_of_measure: str
    doubted: bool = False
    # Thousands show the same few values, and so do pairs of them: what was found for one is kept for the others.
    _known: dict[tuple[object, ...], Again] = field(default_factory=dict)
    _known_moved: dict[tuple[object, ...], Moved] = field(default_factory=dict)
    _known_computed: dict[tuple[object, ...], tuple[Again, Moved]] = field(default_factory=dict)

    def reading(self, reading: GaugeReading) -> Again:
        """The answer's gravest reading. A verdict, and a value in a unit that does not convert, stay doubtful."""
        key = (id(reading.checkpoint), reading.added, reading.described, *map(str, reading.values))
        if key not in self._known:
            self._known[key] = self._reading(reading)
        return self._known[key]

    def _reading(self, reading: GaugeReading) -> Again:
        shown = reading.described or ", ".join(as_text(value) for value in reading.values)
        band = reading.checkpoint.band
        if band is None:
            return Again(shown, "", "", Finding.DOUBTFUL)
        try:
            judged = [
                judge_again(value, band, _always(error), width)
                for value in reading.values
                for error, width in self.errors(value, reading.checkpoint, reading.added)
            ]
        except QcError:
            judged = []
        return self._gravest(shown, judged, reading.checkpoint)

    def errors(self, value: Decimal, about: Measured, added: Decimal | None) -> Iterator[tuple[Decimal, Decimal]]:
        """Error at the value and its expanded uncertainty by each curve, in the checkpoint's unit of measure.

        The gauge's own unit is that of its points. Raises QcError where the units do not convert.
        """
        unit, own = self.unit_of_measure, about.unit_of_measure
        for curve in self.curves:
            if not unit or unit == own:
                error, uncertainty = curve.at(value), self.uncertainty
            else:
                shown = convert(value, own, unit)
                error = convert(shown, unit, own) - convert(shown - curve.at(shown), unit, own)
                uncertainty = convert(self.uncertainty, unit, own) - convert(Decimal(0), unit, own)
            yield error, together(uncertainty, added, about.decimals) or uncertainty

    def _gravest(self, shown: str, judged: Sequence[Rejudgement], about: Measured) -> Again:
        if not judged:
            return Again(shown, "", "", Finding.DOUBTFUL)
        one = min(judged, key=lambda again: GRAVEST_FIRST.index(again.finding))
        finding = one.finding
        if self.doubted and finding == Finding.STILL_IN_BAND:
            finding = Finding.DOUBTFUL
        return Again(shown, _said(one.error, about), _said(one.corrected, about), finding)

    def computed(
        self, given: Sequence[ComputedReading], readings: Iterable[GaugeReading]
    ) -> list[tuple[ComputedReading, Again]]:
        """Each computed answer that read something of the gauge, computed again from the corrected values.

        `given` has those first that others read. Its uncertainty is what each input's own would move it by, added up:
        one gauge errs one way, so nothing is assumed to cancel.
        """
        read: dict[tuple[int, str], list[GaugeReading]] = {}
        for reading in readings:
            read.setdefault((reading.item_id, reading.checkpoint.key), []).append(reading)
        anew: dict[tuple[int, str], Moved] = {}
        found = []
        for one in given:
            touched = self._touched(one, read, anew)
            if touched and one.checkpoint.band is not None:
                key = (one.checkpoint.id, one.value, *one.inputs.values(), *touched.items())
                if key not in self._known_computed:
                    self._known_computed[key] = self._computed(one, touched)
                again, moved = self._known_computed[key]
                anew[one.item_id, one.checkpoint.key] = moved
                found.append((one, again))
        return found

    def _touched(
        self,
        one: ComputedReading,
        read: Mapping[tuple[int, str], Sequence[GaugeReading]],
        anew: Mapping[tuple[int, str], Moved],
    ) -> dict[str, Moved]:
        """The inputs that came from the gauge, each as it is by each curve."""
        touched: dict[str, Moved] = {}
        for key, value in one.inputs.items():
            if (one.item_id, key) in anew:
                touched[key] = anew[one.item_id, key]
            for reading in read.get((one.item_id, key), ()):
                if reading.values == (value,):
                    touched[key] = self._moved(value, reading)
        return touched

    def _moved(self, value: Decimal, reading: GaugeReading) -> Moved:
        key = (id(reading.checkpoint), reading.added, value)
        if key not in self._known_moved:
            try:
                errors = list(self.errors(value, reading.checkpoint, reading.added))
            except QcError:
                errors = []
            self._known_moved[key] = tuple((value - error, width) for error, width in errors)
        return self._known_moved[key]

    def _computed(self, one: ComputedReading, touched: Mapping[str, Moved]) -> tuple[Again, Moved]:
        shown = as_text(one.value)
        try:
            moved = tuple(
                _computed_again(one, {key: some[curve] for key, some in touched.items()})
                for curve in range(len(self.curves))
            )
        except (QcError, IndexError):
            return Again(shown, "", "", Finding.DOUBTFUL), ()
        band = one.checkpoint.band
        judged = [judge_again(one.value, band, _always(one.value - to), width) for to, width in moved] if band else []
        return self._gravest(shown, judged, one.checkpoint), moved


def _computed_again(one: ComputedReading, by_curve: Mapping[str, tuple[Decimal, Decimal]]) -> tuple[Decimal, Decimal]:
    """The result without the gauge's error, and its expanded uncertainty."""
    values = one.inputs | {key: to for key, (to, _) in by_curve.items()}
    result = Derived.compute(one.spec, values).value
    uncertainty = Decimal(0)
    for key, (to, width) in by_curve.items():
        beside = (Derived.compute(one.spec, values | {key: to + step}).value for step in (width, -width))
        uncertainty += max(abs(other - result) for other in beside)
    return result, uncertainty


def _always(error: Decimal) -> ErrorCurve:
    return ErrorCurve([ErrorPoint(Decimal(0), error)])


def _said(value: Decimal, about: Measured) -> str:
    """With one decimal more than the plan asks for: enough to see on which side of a limit it lies."""
    return as_text(value.quantize(Decimal(1).scaleb(-about.decimals - 1)))


def told(one: GaugeReading | ComputedReading, again: Again, *, hidden: bool) -> ReadingAgain:
    """The answer for the list; with `hidden` nothing is told of what was read."""
    if hidden:
        again = Again(KEPT_BACK, "", "", Finding.DOUBTFUL)
    about = one.checkpoint
    return ReadingAgain(
        about.number, about.title, about.limits_text, again.value, again.error, again.corrected, again.finding,
        "" if hidden else one.outcome, one.recorded_at, one.round, one.inspection, isinstance(one, ComputedReading),
    )  # fmt: skip
