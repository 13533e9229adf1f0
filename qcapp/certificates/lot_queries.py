"""What has to be proven about a lot before its inspection certificate is signed, and what there is so far."""

from __future__ import annotations

from dataclasses import dataclass

from qcapp.goods.queries import papers_of_heat
from qcapp.goods.queries.lots import PieceCard, SampleCard, drawn_pieces, sample_of
from qcapp.nonconformance.queries import open_reports
from qcapp.production.queries import open_holds
from qcapp.production.queries.as_built import LotCard, lot_by_code
from qcapp.production.queries.inside import HeatInside, heats_of_lot

from .queries import CertificateCard, certificates_of
from .release_checks import Finding


@dataclass(frozen=True)
class LotStanding:
    """A lot as its certificate's page shows it."""

    lot: LotCard
    sample: SampleCard | None
    pieces: tuple[PieceCard, ...]
    findings: tuple[Finding, ...]
    certificates: tuple[CertificateCard, ...]

    @property
    def against(self) -> list[Finding]:
        return [one for one in self.findings if not one.ok]


def lot_standing(code: str) -> LotStanding:
    """Everything that the certificate of the lot rests on. Raises NotFound `lot_unknown`."""
    lot = lot_by_code(code)
    sample, pieces = sample_of(lot.id), tuple(drawn_pieces(lot.id))
    findings = (
        _tested(sample, pieces),
        _usable(lot),
        _heats(heats_of_lot(lot.item_id)),
        _undisturbed(lot),
    )
    return LotStanding(lot, sample, pieces, findings, tuple(certificates_of(lot.item_id)))


def _tested(sample: SampleCard | None, pieces: tuple[PieceCard, ...]) -> Finding:
    title = "Tested here, on pieces of this lot"
    if sample is None or sample.accepted is None:
        return Finding("lot_tested", title, False, "The sample is not drawn and judged yet; do that on the lot's page.")
    waiting = [piece.number for piece in pieces if not piece.done]
    if waiting:
        return Finding("lot_tested", title, False, f"{len(waiting)} of {len(pieces)} drawn pieces are not answered.")
    return Finding("lot_tested", title, True, f"{len(pieces)} drawn pieces, each fully answered.")


def _usable(lot: LotCard) -> Finding:
    return Finding("lot_usable", "Accepted, or sorted piece by piece", lot.usable, f"{lot.code} is {lot.state_label}.")


def _heats(heats: list[HeatInside]) -> Finding:
    title = "Every heat accepted, with its mill certificate"
    against = [f"heat {one.heat.number} is {one.heat.state_label}" for one in heats if not one.heat.usable]
    against += [f"heat {one.heat.number} has no certificate" for one in heats if not papers_of_heat(one.heat.id)]
    against += [] if heats else ["no heat is recorded"]
    names = ", ".join(one.heat.number for one in heats)
    return Finding("lot_heats", title, not against, f"{'; '.join(against) or names}.")


def _undisturbed(lot: LotCard) -> Finding:
    against = [f"{hold.source}: {hold.reason.rstrip('.')}" for hold in open_holds(lot.item_id)]
    against += [f"{one.number} is {one.state_label}" for one in open_reports(lot.item_id)]
    sentence = f"{'; '.join(against)}." if against else "No hold stands and no report is open."
    return Finding("lot_undisturbed", "No hold and no open report", not against, sentence)
