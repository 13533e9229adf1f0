"""Readers of grade verification at issue: where it is asked, and which heats wait for it."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from qcapp.core.errors import NotFound
from qcapp.production.queries.as_built import HeatCard, LotCard, UsedCard

from ..models import CertifiedHeat, GradeCheck, GradeDemand, VerifiedIssue


@dataclass(frozen=True)
class DemandCard:
    """What is verified at issue: a grade, a size, what goes into a family; what is empty means any."""

    uuid: UUID
    grade: str
    size: str
    family_id: int | None
    family_code: str
    reason: str
    by_name: str
    at: datetime

    @property
    def what(self) -> str:
        """In words: "4130, 38.1 × 2.11 mm, for FR-200"."""
        parts = [self.grade or "any grade", self.size, f"for {self.family_code}" if self.family_code else ""]
        return ", ".join(part for part in parts if part)


def size_key(size: str) -> str:
    """The size as it is compared: blanks, case, the cross and the decimal sign do not tell two apart."""
    return "".join(size.lower().replace("×", "x").replace("*", "x").replace(",", ".").removesuffix("mm").split())


def demands() -> list[DemandCard]:
    """What is asked now, the latest first."""
    latest: dict[tuple[str, str, int | None], GradeDemand] = {}
    for row in GradeDemand.objects.select_related("family", "by").order_by("id"):
        latest[row.grade, size_key(row.size), row.family_id] = row
    return [_card(row) for row in sorted(latest.values(), key=lambda row: -row.pk) if row.asked]


def demand_by_uuid(uuid: UUID | str) -> DemandCard:
    """One that is asked now. Raises NotFound `demand_unknown`."""
    found = next((one for one in demands() if str(one.uuid) == str(uuid)), None)
    if found is None:
        raise NotFound("demand_unknown", "That verification is not asked any more; look at the list again.")
    return found


def _card(row: GradeDemand) -> DemandCard:
    code = row.family.code if row.family else ""
    return DemandCard(row.uuid, row.grade, row.size, row.family_id, code, row.reason, row.by.name, row.at)


def demand_on(heat: HeatCard, family_ids: Collection[int] = (), *, any_family: bool = False) -> DemandCard | None:
    """What asks that the heat is verified before it is issued for these families; None where nothing does.

    A size counts as the heat's when one of its mill certificates says it. With `any_family` also what is asked for a
    family that is not known yet.
    """
    asked = [one for one in demands() if one.family_id is None or any_family or one.family_id in family_ids]
    return _first_for(heat, asked, _sizes_of([heat.id]).get(heat.id, ())) if asked else None


def free_check(heat_id: int) -> GradeCheck | None:
    """The first check that found the heat's grade and let nothing go yet, since any that found another."""
    rows = GradeCheck.objects.filter(heat=heat_id).order_by("id")
    bad = rows.filter(conforms=False).values_list("id", flat=True).last() or 0
    return rows.filter(id__gt=bad, conforms=True, issue__isnull=True).first()


def verified_for(heat_id: int, item_id: int) -> bool:
    """Whether a check of the heat let it go into this lot or unit."""
    return VerifiedIssue.objects.filter(check_made__heat=heat_id, item=item_id).exists()


def waiting_in(lot: LotCard, used: Collection[UsedCard]) -> list[tuple[HeatCard, DemandCard]]:
    """The heats used in a lot that have to be verified before anything of it is used, each with what asks for it.

    At most three queries, however many heats.
    """
    heats = [one.heat for one in used if one.heat is not None]
    asked = [one for one in demands() if one.family_id in (None, lot.family_id)] if heats else []
    if not asked:
        return []
    sizes = _sizes_of([heat.id for heat in heats])
    found = [(heat, _first_for(heat, asked, sizes.get(heat.id, set()))) for heat in heats]
    done = VerifiedIssue.objects.filter(item=lot.item_id).values_list("check_made__heat", flat=True)
    verified = set(done) if any(demand for _, demand in found) else set()
    return [(heat, demand) for heat, demand in found if demand and heat.id not in verified]


def _sizes_of(heat_ids: Collection[int]) -> dict[int, set[str]]:
    """The sizes that the mill certificates of each heat name, as they are compared."""
    found: dict[int, set[str]] = {}
    for heat, size in CertifiedHeat.objects.filter(heat__in=heat_ids).values_list("heat_id", "size"):
        found.setdefault(heat, set()).add(size_key(size))
    return found


def _first_for(heat: HeatCard, asked: Collection[DemandCard], sizes: Collection[str]) -> DemandCard | None:
    """The first demand that names this grade, or any, and one of the sizes, or any."""
    return next(
        (one for one in asked if one.grade.lower() in ("", heat.grade.lower()) and size_key(one.size) in {"", *sizes}),
        None,
    )
