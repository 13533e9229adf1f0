"""Random records of a small workshop, and the question of who is affected worked out on them in plain Python.

The working out goes from each unit down into what it holds, where the product goes up from what is named.
"""

from __future__ import annotations

import json
import random
from collections import defaultdict
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from qcapp.affected.asking import Both, Either, Term, Tree, Without
from qcapp.core.identification import lookup_key
from qcapp.inspections.models import Adoption, Result
from qcapp.production.models import (
    Consumption,
    Heat,
    Installation,
    Item,
    Lot,
    Piece,
    Removal,
    Unit,
    WeldProcedure,
    WeldRecord,
    WeldStart,
)
from tests.cast import FIXED_NOW, Cast
from tests.factories.production import FamilyFactory, ItemFactory, UnitFactory
from tests.trends.line import FIXTURE_ROW, Line, measured, row

ZONE = ZoneInfo("Europe/Berlin")
HEATS = ("7K4412", "7K4418", "M2208")
FIXTURES = ("TF-01", "TF-03")
FILLERS = ("FL-9", "FL-12")
SUPPLIERS = ("Brook Tube", "Millbrook")


@dataclass
class Records:
    """What the test asks about."""

    line: Line
    cast: Cast
    zone: ZoneInfo = ZONE
    days: list[date] = field(default_factory=list)

    @property
    def terms(self) -> list[Term]:
        """One of each kind of term and a few of most, names that occur and days that cut."""
        first, middle, last = self.days[0], self.days[len(self.days) // 2], self.days[-1]
        named = [Term("heat", number) for number in (*HEATS, "N-1", "N-2")]
        named += [Term("lot", lot.code) for lot in Lot.objects.order_by("id")]
        named += [Term("supplier", name) for name in SUPPLIERS]
        named += [Term("component", serial) for serial in Unit.objects.order_by("id").values_list("serial", flat=True)]
        named += [Term("fixture", name) for name in FIXTURES]
        named += [Term("fixture", "TF-01", middle), Term("fixture", "TF-03", None, middle)]
        named += [Term("filler", name) for name in FILLERS] + [Term("filler", "FL-9", first, middle)]
        named += [Term("welder", "W11"), Term("welder", "1012", middle, last), Term("welder", "w12", first, first)]
        named += [Term("inspector", "1001"), Term("inspector", "1002", first, middle)]
        named += [Term("gauge", "CA-01"), Term("gauge", "CA-01", middle, last)]
        named += [Term("plan", "DX-1/A"), Term("plan", "dx-1/b"), Term("family", "DX-1"), Term("family", "FK-30")]
        return [*named, Term("opened", "", middle), Term("opened", "", first, middle)]


def make(cast: Cast, seed: int = 7) -> Records:
    """Twelve frames on two revisions with readings, six forks, three lots with pieces, three heats; joined at will."""
    chance = random.Random(seed)
    heat_row = row(102, "heat_main", "record", form="heat")
    line = Line.with_plan(cast, FIXTURE_ROW, heat_row, measured(gauge_kinds="caliper"), gauges=True)
    _answer(line, chance, 6)
    line.revise("B", FIXTURE_ROW, heat_row, measured(limits="30 to 60", gauge_kinds="caliper"))
    _answer(line, chance, 6)
    _parts(cast, chance)
    days = sorted({at.astimezone(ZONE).date() for at in Result.objects.values_list("recorded_at", flat=True)})
    return Records(line, cast, days=days)


def _answer(line: Line, chance: random.Random, count: int) -> None:
    for _ in range(count):
        line.at += timedelta(hours=chance.choice((1, 15, 40)))
        serial = line.open()
        person = chance.choice((line.cast.inspector, line.cast.second_inspector)).badge
        said = [
            ("fixture", {"text": chance.choice(FIXTURES)}, None),
            ("heat_main", {"text": chance.choice((HEATS[0], "N-1", "N-2"))}, None),
            ("size", {"value": "50.000"}, "CA-01"),
        ]
        chosen = [one for one in said if chance.random() < 0.8]
        line.send([line.operation(serial, key, answer, gauge=g, recorded_by=person) for key, answer, g in chosen])


def _parts(cast: Cast, chance: random.Random) -> None:
    fork, kit = FamilyFactory(code="FK-30", name="fork"), FamilyFactory(code="TK-200", name="cut-tube kit")
    by = cast.inspector
    forks = [UnitFactory(item=ItemFactory(family=fork), opened_by=by, opened_at=_some_time(chance)) for _ in range(6)]
    heats = [
        Heat.objects.create(
            number=number, lookup=lookup_key(number), supplier=chance.choice(SUPPLIERS), grade="4130",
            state="accepted", entered_by=by, entered_at=FIXED_NOW,
        )
        for number in HEATS
    ]  # fmt: skip
    for supplier in SUPPLIERS:
        Heat.objects.create(
            number=f"S-{supplier[:2]}", lookup="", supplier=supplier, grade="4130", state="accepted",
            entered_by=by, entered_at=FIXED_NOW,
        )  # fmt: skip
    lots = [_lot(kit, number, by, chance) for number in range(3)]
    items = [unit.item for unit in Unit.objects.filter(item__kind="unit").order_by("id")]
    for target in (*items, *(lot.item for lot in lots)):
        if chance.random() < 0.35:
            Consumption.objects.create(item=target, heat=chance.choice(heats), by=by, at=FIXED_NOW)
        if chance.random() < 0.35 and target.kind == "unit":
            Consumption.objects.create(item=target, lot=chance.choice(lots), by=by, at=FIXED_NOW)
    _install(
        [*forks, *Unit.objects.filter(item__kind="piece").order_by("id")],
        [item for item in items if item.family.code == "DX-1"],
        by,
        chance,
    )
    _weld(items, cast, chance)


def _lot(family: Any, number: int, by: Any, chance: random.Random) -> Lot:
    item = ItemFactory(family=family, kind=Item.Kind.LOT)
    code = f"TK-200-L000{number + 1}"
    lot = Lot.objects.create(
        item=item, code=code, lookup=lookup_key(code), number=number + 1, quantity=20, state="accepted",
        opened_by=by, opened_at=FIXED_NOW,
    )  # fmt: skip
    piece = ItemFactory(family=family, kind=Item.Kind.PIECE)
    UnitFactory(item=piece, serial=f"{code}.001", lookup=lookup_key(f"{code}.001"), opened_by=by)
    Piece.objects.create(item=piece, lot=lot, number=1)
    return lot


def _install(forks: list[Any], frames: list[Any], by: Any, chance: random.Random) -> None:
    for fork in forks:
        for attempt in range(2):
            there = Installation.objects.create(
                item=chance.choice(frames), component=fork.item, link="delivered_with", by=by, at=FIXED_NOW
            )
            if attempt == 0 or chance.random() < 0.3:
                Removal.objects.create(installation=there, reason="wrong one", by=by, at=FIXED_NOW)


def _weld(items: list[Any], cast: Cast, chance: random.Random) -> None:
    welders = (cast.welder, cast.second_welder)
    procedure = WeldProcedure.objects.create(
        number="WP-3", revision="A", title="TIG", process="141", thickness_from="1", thickness_to="4",
        by=cast.welding_coordinator, at=FIXED_NOW,
    )  # fmt: skip
    for item in items:
        if chance.random() < 0.5:
            WeldRecord.objects.create(
                item=item, joint="W1", welder=chance.choice(welders), by=cast.inspector, at=_some_time(chance)
            )
        if chance.random() < 0.5:
            WeldStart.objects.create(
                operation=random_uuid(chance), item=item, joints=["W2"], welder=chance.choice(welders),
                procedure=procedure, thickness="2", base_grade="4130", filler_lot=chance.choice(FILLERS),
                machine="M1", fixture=chance.choice((*FIXTURES, "")), at=_some_time(chance),
            )  # fmt: skip


def random_uuid(chance: random.Random) -> Any:
    from uuid import UUID

    return UUID(int=chance.getrandbits(128), version=4)


def _some_time(chance: random.Random) -> datetime:
    return FIXED_NOW + timedelta(hours=chance.randrange(0, 24 * 14))


# ------------------------------------------------------------------------------------------------- in plain Python


class PlainRecords:
    """Every row read once into lists; then nothing but loops."""

    def __init__(self) -> None:
        self.units = list(Unit.objects.values("item_id", "serial", "opened_at", "item__kind", "item__family__code"))
        self.results = list(
            Result.objects.filter(current_for__isnull=False).values(
                "item_id", "answer", "recorded_at", "characteristic__key", "outcome"
            )
        )
        self.answered = list(Result.objects.values("item_id", "recorded_at", "gauge__number", "person__badge"))
        self.adoptions = list(Adoption.objects.values("item_id", "revision__letter", "revision__family__code"))
        self.used = list(
            Consumption.objects.values("item_id", "heat__number", "heat__supplier", "lot__code", "lot__item_id")
        )
        self.welds = list(WeldRecord.objects.values("item_id", "welder__badge", "welder__stamp", "at"))
        self.starts = list(
            WeldStart.objects.values("item_id", "welder__badge", "welder__stamp", "at", "fixture", "filler_lot")
        )
        self.lots = {lot["item_id"]: lot["code"] for lot in Lot.objects.values("item_id", "code")}
        removed = set(Removal.objects.values_list("installation_id", flat=True))
        self.below: dict[int, list[int]] = defaultdict(list)
        for there in Installation.objects.values("id", "item_id", "component_id"):
            if there["id"] not in removed:
                self.below[there["item_id"]].append(there["component_id"])
        for used in self.used:
            if used["lot__item_id"]:
                self.below[used["item_id"]].append(used["lot__item_id"])
        for piece in Piece.objects.values("item_id", "lot__item_id"):
            self.below[piece["lot__item_id"]].append(piece["item_id"])
            self.below[piece["item_id"]].append(piece["lot__item_id"])  # what is true of the lot is true of it

    def serials(self, tree: Tree) -> set[str]:
        """The serials that the question names."""
        return {u["serial"] for u in self.units if u["item__kind"] == "unit" and self.holds(tree, u)}

    def holds(self, tree: Tree, unit: dict[str, Any]) -> bool:
        if isinstance(tree, Without):
            return not self.holds(tree.inner, unit)
        if isinstance(tree, Both):
            return all(self.holds(part, unit) for part in tree.parts)
        if isinstance(tree, Either):
            return any(self.holds(part, unit) for part in tree.parts)
        return self.shares(tree, unit)

    def within(self, item: int, seen: frozenset[int] = frozenset()) -> set[int]:
        further = [one for one in self.below[item] if one not in seen]
        return {item}.union(*(self.within(one, seen | {item}) for one in further))

    def shares(self, term: Term, unit: dict[str, Any]) -> bool:
        if term.source == "plan":
            family, letter = term.value.lower().split("/")
            return any(
                a["item_id"] == unit["item_id"]
                and a["revision__family__code"].lower() == family
                and a["revision__letter"].lower() == letter
                for a in self.adoptions
            )
        if term.source == "family":
            return unit["item__family__code"] == term.value
        if term.source == "opened":
            return in_days(term, unit["opened_at"])
        return any(self.itself(term, item) for item in self.within(unit["item_id"]))

    def itself(self, term: Term, item: int) -> bool:
        return bool(getattr(self, f"by_{term.source}")(term, item))

    def noted(self, term: Term, item: int, key: str) -> bool:
        return any(
            r["item_id"] == item
            and r["characteristic__key"] == key
            and json.loads(r["answer"])["text"] == term.value
            and in_days(term, r["recorded_at"])
            for r in self.results
        )

    def by_heat(self, term: Term, item: int) -> bool:
        used = any(u["item_id"] == item and u["heat__number"] == term.value for u in self.used)
        return used or self.noted(term, item, "heat_main")

    def by_supplier(self, term: Term, item: int) -> bool:
        return any(u["item_id"] == item and u["heat__supplier"] == term.value for u in self.used)

    def by_lot(self, term: Term, item: int) -> bool:
        return self.lots.get(item) == term.value

    def by_component(self, term: Term, item: int) -> bool:
        return any(u["item_id"] == item and u["serial"] == term.value for u in self.units)

    def by_fixture(self, term: Term, item: int) -> bool:
        started = any(
            s["item_id"] == item and s["fixture"] == term.value and in_days(term, s["at"]) for s in self.starts
        )
        return started or self.noted(term, item, "fixture")

    def by_filler(self, term: Term, item: int) -> bool:
        return any(
            s["item_id"] == item and s["filler_lot"] == term.value and in_days(term, s["at"]) for s in self.starts
        )

    def by_welder(self, term: Term, item: int) -> bool:
        marks = {term.value.upper()}
        return any(
            w["item_id"] == item and {w["welder__badge"], w["welder__stamp"]} & marks and in_days(term, w["at"])
            for w in (*self.welds, *self.starts)
        )

    def by_inspector(self, term: Term, item: int) -> bool:
        return any(
            r["item_id"] == item and r["person__badge"] == term.value and in_days(term, r["recorded_at"])
            for r in self.answered
        )

    def by_gauge(self, term: Term, item: int) -> bool:
        return any(
            r["item_id"] == item and r["gauge__number"] == term.value and in_days(term, r["recorded_at"])
            for r in self.answered
        )


def in_days(term: Term, at: datetime) -> bool:
    """Whether the instant lies in the days of the term, both included, by the clock on the workshop's wall."""
    day = at.astimezone(ZONE).date()
    return (term.since is None or day >= term.since) and (term.until is None or day <= term.until)
