"""Everything that an inspection certificate of a lot says (EN 10204:2004, type 3.1), in the sections of certificates.

The tests are our own, on pieces drawn from this very lot; what a mill tested stays on the mill's certificate.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, replace
from datetime import datetime
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from qcapp.certificates.choices import Choice
from qcapp.core.checkpoints.counted import counted_numbers
from qcapp.production.queries.inside import heats_of_lot

from . import cautions, components, drawing, identity, pictures, results, signatures, statement, statistics, welds
from .materials import Materials, heat_lines
from .nonconformances import Nonconformances
from .record import Head, plain
from .sample import Sample, SampleLine, SamplingPlan

if TYPE_CHECKING:
    from qcapp.goods.queries.lots import SampleCard, SortingCard
    from qcapp.inspections.queries import CheckpointView, InspectionView
    from qcapp.nonconformance.queries import ConcessionCard
    from qcapp.production.queries.as_built import LotCard

DECLARATION = (
    "We certify that lot {lot}, {quantity} pieces of {family}, meets the requirements of inspection plan {plan} and of "
    "the drawings and specifications that it cites. The results are those of our own tests on {drawn} pieces drawn "
    "from this lot."
)
MEANING = (
    "I confirm the results of lot {lot} as inspection representative independent of its production "
    "(EN 10204:2004, type 3.1)."
)
FUNCTION = "{role}, inspection representative independent of production"


@dataclass(frozen=True)
class LotRecord:
    """The input: the lot, its drawn pieces as inspected, and the paper's own numbers."""

    head: Head
    lot: LotCard
    order_number: str
    sample: SampleCard
    sorting: SortingCard | None
    pieces: tuple[tuple[int, InspectionView], ...]
    signed_by: str
    role: str
    choice: Choice
    marks: Mapping[int, str]

    @property
    def concessions(self) -> list[ConcessionCard]:
        """A lot's certificate stands under none: pieces that do not conform are taken out."""
        return []

    def mark(self, person_id: int, name: str) -> str:
        """As on a unit's certificate."""
        return name if self.choice.names else self.marks.get(person_id, name)

    def moment(self, at: datetime) -> str:
        return self.head.moment(at)

    @property
    def plan(self) -> Any:
        return self.pieces[0][1].revision

    @property
    def views(self) -> list[tuple[int, CheckpointView]]:
        """Every due answer of the drawn pieces, with the piece's number."""
        return [(n, one) for n, view in self.pieces for one in view.checkpoints if one.state != "not_due"]


def lot_content(record: LotRecord) -> dict[str, Any]:
    """What the certificate says, as plain values ready for canonical JSON."""
    materials = Materials(True, heat_lines(heats_of_lot(record.lot.item_id)))
    parts: dict[str, Any] = {
        "identity": _identity(record),
        "statement": _statement(record),
        "results": results.Results(tuple(_piece(record, number, view) for number, view in record.pieces)),
        "sample": _sample(record),
        "statistics": statistics.Statistics(False, 0, ()),
        "welds": welds.Welds(False, ()),
        "materials": materials,
        "components": components.Components(False, ()),
        "nonconformances": Nonconformances(False, (), ()),
        "pictures": pictures.Pictures(False, (), 0),
        "drawing": drawing.Drawing(False, ()),
        "cautions": cautions.Cautions(False, ()),
        "signatures": _signatures(record),
    }
    return {name: plain(asdict(part)) for name, part in parts.items()}


def _identity(record: LotRecord) -> identity.Identity:
    plan, lot = record.plan, record.lot
    return identity.Identity(
        **record.head.fields(),
        serial=lot.code,
        family_code=lot.family_code,
        family_name=lot.family_name,
        variant="",
        order_number=record.order_number,
        plan_revision=plan.letter,
        documents=tuple(identity.Document(one.kind, one.number, one.revision) for one in plan.documents),
        kind="inspection",
        language=record.choice.language,
        paper=record.choice.paper,
        lengths=record.choice.lengths,
    )


def _statement(record: LotRecord) -> statement.Statement:
    answers = [one.counts for _, one in record.views if one.counts is not None]
    conforming = [one for one in answers if one.passes]
    plan = f"{record.plan.family_code} revision {record.plan.letter}"
    return statement.Statement(
        declaration=DECLARATION.format(
            lot=record.lot.code, quantity=record.lot.quantity, family=record.lot.family_name, plan=plan,
            drawn=len(record.pieces),
        ),
        counts=record.sample.sentence,
        due=len(record.views),
        conforming=len(conforming),
        conceded=0,
        near_limit=sum(one.outcome == "near_limit" for one in conforming),
        not_due=0,
        decision_rule=statement.DECISION_RULE,
        limits_of_the_statement=statement.LIMITS_OF_THE_STATEMENT,
        released=record.head.moment(record.head.issued_at),
        released_by=record.signed_by,
        function=FUNCTION.format(role=record.role),
        concessions=(),
    )  # fmt: skip


def _signatures(record: LotRecord) -> signatures.Signatures:
    line = signatures.SignatureLine(
        what="Inspection certificate 3.1",
        name=record.signed_by,
        function=FUNCTION.format(role=record.role),
        at=record.head.moment(record.head.issued_at),
        meaning=MEANING.format(lot=record.lot.code),
    )
    return signatures.Signatures((line,))


def _piece(record: LotRecord, number: int, view: InspectionView) -> results.Stage:
    """One drawn piece, for machines; people read them together in the sample."""
    due = [one for one in view.checkpoints if one.state != "not_due"]
    lines = (results.line_of(record, one) for one in due)
    named = tuple(replace(line, title=f"{line.title}, piece {number}") for line in lines)
    return results.Stage(number, f"Piece {number}", named, (), (), "", "")


def _sample(record: LotRecord) -> Sample:
    sample, sorting = record.sample, record.sorting
    return Sample(
        shown=True,
        quantity=record.lot.quantity,
        drawn=len(record.pieces),
        severity=sample.severity,
        sentence=sample.sentence,
        sorting=f"{sorting.checked} pieces looked at, {sorting.removed} taken out" if sorting else "",
        plans=tuple(
            SamplingPlan(
                name, str(told["aql"]), told["sample_size"], told["accept"], sample.found.get(name, 0), told["source"]
            )
            for name, told in sorted(sample.plans.items())
        ),
        lines=tuple(_lines(record.views)),
    )


def _lines(views: list[tuple[int, CheckpointView]]) -> Iterable[SampleLine]:
    by_number: dict[int, list[tuple[int, CheckpointView]]] = {}
    for number, one in views:
        by_number.setdefault(one.card.number, []).append((number, one))
    return [_line(found) for _, found in sorted(by_number.items())]


def _line(found: list[tuple[int, CheckpointView]]) -> SampleLine:
    card = found[0][1].card
    answered = [(number, one.counts) for number, one in found if one.counts is not None]
    values = [Decimal(value) for _, one in answered for value in _numbers(one.answer)]
    limits = results.without_measure(card.limits_text, card.unit_of_measure)
    return SampleLine(
        number=card.number,
        title=card.title,
        nominal=card.nominal_text,
        notation=card.notation,
        limits=limits,
        unit_of_measure=card.unit_of_measure,
        tested=len(answered),
        conforming=sum(one.passes for _, one in answered),
        lowest=str(min(values)) if values else "",
        highest=str(max(values)) if values else "",
        gauges=", ".join(sorted({one.gauge_number for _, one in answered if one.gauge_number})),
        values=tuple(
            f"{number}: {results.without_measure(one.described, card.unit_of_measure)}" for number, one in answered
        ),
    )


def _numbers(answer: dict[str, Any]) -> list[str]:
    return [str(answer["count"])] if "count" in answer else counted_numbers(answer)
