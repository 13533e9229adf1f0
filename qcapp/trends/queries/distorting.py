"""The distortion page: every dimension of a family that is measured before and after welding."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from qcapp.core.errors import QcError
from qcapp.inspections.queries import series as stored
from qcapp.production.queries import FamilyCard

from ..pairs import Distortion, distortion_of, pairs_in, relative_shift
from ..readings import Series
from .readings import Subject, Surroundings, build, secrets_of, subject_of

UNITS = 100
MEASURING = frozenset({"measured", "derived"})


@dataclass(frozen=True)
class DistortionPage:
    """The pairs, the largest shift against its band first. `refusal` is a sentence where there is none."""

    family: FamilyCard
    units: int
    pairs: tuple[Distortion, ...]
    refusal: str = ""


def distortion_page(
    family_code: str, *, people: bool, units: int = UNITS, until: datetime | None = None
) -> DistortionPage:
    """What welding moves, over the family's last units. Raises NotFound `family_unknown`."""
    subject = subject_of(family_code)
    cards = {key: card for key, card in subject.cards.items() if card.kind in MEASURING}
    pairs = pairs_in({key: card.paired_with for key, card in cards.items()})
    if not subject.cards:
        said = f"{subject.family.code} has no released inspection plan, so nothing is compared yet."
        return DistortionPage(subject.family, 0, (), said)
    if not pairs:
        said = f"The plan of {subject.family.code} pairs no dimension before welding with one after."
        return DistortionPage(subject.family, 0, (), said)
    items = stored.newest_items(subject.family.id, units, until=until)
    series = _series(subject, items, {key for pair in pairs for key in pair})
    found = [
        distortion_of(series[before], series[after], people=people)
        for before, after in pairs
        if before in series and after in series
    ]
    ordered = sorted(found, key=lambda one: (-relative_shift(one), one.after.number))
    return DistortionPage(subject.family, len(items), tuple(ordered))


def _series(subject: Subject, items: list[int], keys: set[str]) -> dict[str, Series]:
    """The series of these keys; one whose readings cannot be charted is left out."""
    wanted = {subject.cards[key].characteristic_id for key in keys}
    gathered = stored.points_of_items(items, wanted.union(*(subject.secret_inputs(key) for key in keys)))
    checkpoints = stored.checkpoints_at(point for some in gathered.points.values() for point in some)
    around = Surroundings(
        fixtures=stored.texts_of(items, subject.fixture_ids) if subject.fixture_ids else {},
        welders=stored.welders_of_items(items, _joint(subject, keys)),
    )
    found: dict[str, Series] = {}
    for key in keys:
        card = subject.cards[key]
        secret = secrets_of(subject, key, gathered.waiting)
        kept = [point for point in gathered.points.get(card.characteristic_id, ()) if point.item_id not in secret]
        try:
            found[key] = build(subject, card, kept, checkpoints, around)
        except QcError:
            continue
    return found


def _joint(subject: Subject, keys: set[str]) -> str:
    """The joint whose welder counts: the one that a paired checkpoint names, else the family's first."""
    named = sorted(subject.cards[key].joint for key in keys if subject.cards[key].joint)
    others = sorted(
        (card.joint for card in subject.cards.values() if card.joint), key=lambda joint: (len(joint), joint)
    )
    return (named or others or [""])[0]
