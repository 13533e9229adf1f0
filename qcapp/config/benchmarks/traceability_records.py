"""Up to a hundred thousand invented frames for `manage.py benchmark --traceability`, by COPY on PostgreSQL.

The first frames are loaded as `dataset.py` does, judged by the product's own kinds; all others are copies of their rows
under their own serials, times and operations, with PARTS components each. A copy keeps its model's digests: speed is
measured here, not the chain of proof.
"""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import Any
from uuid import UUID

from django.apps import apps
from django.db import connection, transaction

from qcapp.audit.verbs import Verb
from qcapp.core.identification import lookup_key
from qcapp.customers.services import add_customer, add_order
from qcapp.gauges import services as gauges
from qcapp.gauges.points import Point
from qcapp.gauges.queries import gauge_by_number
from qcapp.inspections.queries.standing import covers
from qcapp.inspections.services.drafts import COLUMNS
from qcapp.lib.fields import uuid7
from qcapp.people.roles import Role
from qcapp.production.queries import family_by_code
from qcapp.production.services import add_family

from . import bulk_audit
from .dataset import FAMILY, VARIANTS, Shop

PARTS = 12  # components of a frame
PART_FAMILY = "FK-30"
BAD_GAUGE = "CA-99"  # found out of tolerance
HEAT, OTHER_HEAT = "BH-1", "BH-2"
CUSTOMERS = 50
AT_ONCE = 1000  # frames in one transaction
MOVED = ("recorded_at", "received_at")
INDEXED = "inspections_result"


@dataclass
class Fleet:
    """What is loaded so far. `with_heat` frames hold HEAT, the first `bad` caliper readings are BAD_GAUGE's."""

    shop: Shop
    with_heat: int
    bad: int
    serials: list[str] = field(default_factory=list)
    models: list[list[dict[str, Any]]] = field(default_factory=list)
    taken: int = 0

    @classmethod
    def begun(cls, now: datetime, with_heat: int, bad: int) -> Fleet:
        """The shop with its model frames, the gauge that was wrong, two heats and the customers."""
        shop = Shop.made(now)
        fleet = cls(shop, with_heat, bad)
        fleet.serials = shop.load_frames(1, VARIANTS, lambda done: None)
        fleet.models = [_results_of(serial) for serial in fleet.serials]
        _make_bad_gauge(shop)
        by = shop.person(Role.INSPECTOR)
        add_family(
            by=shop.person(Role.QUALITY_MANAGER), code=PART_FAMILY, name="girder fork",
            serial_pattern="FK-30-{number:7}", certificate_prefix="FK", at=now,
        )  # fmt: skip
        for number in (HEAT, OTHER_HEAT):
            apps.get_model("production.Heat").objects.create(
                number=number, lookup=lookup_key(number), supplier="Invented Tube", grade="4130", state="accepted",
                entered_by=by, entered_at=now,
            )  # fmt: skip
        _make_orders(shop, now)
        return fleet

    def grow(self, count: int, tick: Callable[[int], None]) -> None:
        """Frames up to this number altogether; `tick` hears how many there are."""
        with _without_indexes(INDEXED) if count - len(self.serials) > 20 * AT_ONCE else transaction.atomic():
            while len(self.serials) < count:
                first = len(self.serials) + 1
                self._load(range(first, min(first + AT_ONCE, count + 1)))
                tick(len(self.serials))

    def _load(self, numbers: range) -> None:
        with transaction.atomic():
            _unguarded()
            frames = _Frames.made(self, numbers)
            for label, columns, rows in frames.tables():
                write(label, columns, rows)
            bulk_audit.append(frames.acts())
        self.serials += frames.serials


def frames_loaded() -> list[str]:
    """The serials of the frames that the database holds, in order."""
    units = apps.get_model("production.Unit").objects.filter(item__family__code=FAMILY)
    return list(units.order_by("number").values_list("serial", flat=True))


def _results_of(serial: str) -> list[dict[str, Any]]:
    names = ", ".join(f"r.{name}" for name in COLUMNS)
    sql = (
        f"SELECT {names} FROM inspections_result r JOIN production_unit u ON u.item_id = r.item_id WHERE u.serial = %s"  # noqa: S608
    )
    with connection.cursor() as cursor:
        cursor.execute(f"{sql} ORDER BY r.id", [serial])
        rows = [dict(zip(COLUMNS, row, strict=True)) for row in cursor.fetchall()]
    for row in rows:
        row |= {name: row[name].replace(tzinfo=UTC) for name in MOVED if row[name].tzinfo is None}  # SQLite's
        row |= {name: json.dumps(row[name]) for name in ("replaces", "flags") if not isinstance(row[name], str)}
    return rows


def _make_bad_gauge(shop: Shop) -> None:
    by, reference = shop.person(Role.METROLOGY), Decimal(50)
    good = {"by": by, "number": BAD_GAUGE, "done_by": "Calibration room (invented)", "at": shop.now}
    gauges.add_gauge(by=by, number=BAD_GAUGE, kind_key="caliper", unit_of_measure="mm", at=shop.now)
    limit, uncertainty = Decimal("0.03"), Decimal("0.02")
    begin = shop.begin.date() - timedelta(days=5)
    right = [Point(reference, reference, None, limit)]
    wrong = [Point(Decimal(at), Decimal(at) + error, Decimal(at), limit) for at, error in _ERRORS]
    gauges.record_calibration(**good, done_on=begin, points=right, expanded_uncertainty=uncertainty)  # type: ignore[arg-type]
    gauges.record_calibration(**good, done_on=shop.now.date(), points=wrong, expanded_uncertainty=uncertainty)  # type: ignore[arg-type]


_ERRORS = ((0, Decimal("0.01")), (50, Decimal("0.05")), (100, Decimal("0.08")), (300, Decimal("0.15")))


def _make_orders(shop: Shop, now: datetime) -> None:
    by = shop.person(Role.CUSTOMER_SERVICE)
    for number in range(1, CUSTOMERS + 1):
        add_customer(by=by, number=f"C-{number}", name=f"Invented Orchard {number}", at=now)
        add_order(by=by, number=f"BS-{number}", customer_number=f"C-{number}", at=now)


# ------------------------------------------------------------------------------------------------ rows of frames


@dataclass
class _Frames:
    """Some frames on their way in, with the keys that they will have."""

    fleet: Fleet
    numbers: range
    item: int
    unit: int
    signature: int
    result: int
    keys: dict[str, Any]
    operations: list[list[UUID]]

    @classmethod
    def made(cls, fleet: Fleet, numbers: range) -> _Frames:
        labels = ("production.Item", "production.Unit", "people.Signature", "inspections.Result")
        last = [
            apps.get_model(label)._base_manager.order_by("-pk").values_list("pk", flat=True).first() for label in labels
        ]
        heats = dict(apps.get_model("production.Heat").objects.values_list("number", "pk"))
        keys = {
            "bad": gauge_by_number(BAD_GAUGE).id, "heat": heats[HEAT], "other": heats[OTHER_HEAT],
            "part": family_by_code(PART_FAMILY).id, "family": fleet.shop.plan.revision.family_id,
            "by": fleet.shop.person(Role.INSPECTOR).pk, "revision": fleet.shop.plan.revision.id,
            "orders": list(apps.get_model("customers.Order").objects.order_by("pk").values_list("pk", flat=True)),
            "measured": {card.id for card in fleet.shop.plan.checkpoints if card.kind == "measured"},
            "stages": {card.id: card.stage_id for card in fleet.shop.plan.checkpoints},
        }  # fmt: skip
        calipers = {gauge.id for gauge in fleet.shop.gauges if gauge.kind_key == "caliper"}
        operations = [[uuid7() for _ in fleet.models[number % VARIANTS]] for number in numbers]
        item, unit, signature, result = ((key or 0) + 1 for key in last)
        return cls(fleet, numbers, item, unit, signature, result, keys | {"calipers": calipers}, operations)

    @property
    def serials(self) -> list[str]:
        return [f"{FAMILY}-{number:06}" for number in self.numbers]

    def tables(self) -> Iterator[tuple[str, Sequence[str], Iterable[Sequence[Any]]]]:
        """Every table in the order in which one names the other."""
        yield "production.Item", ("id", "uuid", "kind", "family_id"), self._items()
        yield "production.Unit", UNIT, self._units()
        yield "inspections.Adoption", ("item_id", "revision_id", "by_id", "at"), self._adoptions()
        yield "production.Installation", INSTALLATION, self._installations()
        yield "production.Consumption", ("item_id", "heat_id", "use", "by_id", "at"), self._consumptions()
        yield "inspections.Result", ("id", *COLUMNS), self._results()
        yield "inspections.CurrentAnswer", CURRENT, self._answers()
        yield "people.Signature", SIGNATURE, self._signatures()
        yield "inspections.StageSignOff", SIGN_OFF, self._sign_offs()

    def _frame_items(self) -> Iterator[tuple[int, int, str, datetime]]:
        """Place, item, serial and opening of each frame; its components' items follow its own."""
        for place, (number, serial) in enumerate(zip(self.numbers, self.serials, strict=True)):
            opened = self.fleet.shop.begin + timedelta(days=2, seconds=number % 80_000)
            yield place, self.item + place * (1 + PARTS), serial, opened

    def _items(self) -> Iterator[Sequence[Any]]:
        for _, item, _, _ in self._frame_items():
            yield item, uuid7(), "unit", self.keys["family"]
            for part in range(1, PARTS + 1):
                yield item + part, uuid7(), "unit", self.keys["part"]

    def _units(self) -> Iterator[Sequence[Any]]:
        unit, by = self.unit, self.keys["by"]
        for place, item, serial, opened in self._frame_items():
            number = self.numbers[place]
            state = ("in_build", "released")[number % 2]
            yield unit, item, serial, lookup_key(serial), number, "", f"S-{number}", state, by, opened
            for part in range(1, PARTS + 1):
                own = f"{PART_FAMILY}-{number * 20 + part:07}"
                yield unit + part, item + part, own, lookup_key(own), number * 20 + part, "", "", "released", by, opened
            unit += 1 + PARTS

    def _adoptions(self) -> Iterator[Sequence[Any]]:
        for _, item, _, opened in self._frame_items():
            yield item, self.keys["revision"], self.keys["by"], opened

    def _installations(self) -> Iterator[Sequence[Any]]:
        for _, item, _, opened in self._frame_items():
            for part in range(1, PARTS + 1):
                yield uuid7(), item, item + part, "delivered_with", self.keys["by"], opened + timedelta(days=8)

    def _consumptions(self) -> Iterator[Sequence[Any]]:
        for place, item, _, opened in self._frame_items():
            heat = self.keys["heat" if self.numbers[place] <= self.fleet.with_heat else "other"]
            yield item, heat, "main tubes", self.keys["by"], opened

    def _results(self) -> Iterator[Sequence[Any]]:
        key = self.result
        for place, item, _, opened in self._frame_items():
            model = self._model(place)
            moved = opened - model[0]["recorded_at"]
            for row, operation in zip(model, self.operations[place], strict=True):
                yield key, *self._copied(row, operation, item, moved)
                key += 1

    def _copied(self, row: dict[str, Any], operation: UUID, item: int, moved: timedelta) -> list[Any]:
        changed: dict[str, Any] = {"operation": operation, "item_id": item}
        changed |= {name: row[name] + moved for name in MOVED}
        doubted = row["gauge_id"] in self.keys["calipers"] and row["checkpoint_id"] in self.keys["measured"]
        if doubted and self.fleet.taken < self.fleet.bad:
            changed["gauge_id"] = self.keys["bad"]
            self.fleet.taken += 1
        return [changed.get(name, row[name]) for name in COLUMNS]

    def _answers(self) -> Iterator[Sequence[Any]]:
        key = self.result
        for place, item, _, _ in self._frame_items():
            for row in self._model(place):
                yield item, row["checkpoint_id"], row["round"], row["inspection"], key, False
                key += 1

    def _signed(self) -> Iterator[tuple[int, int, str, int, str, int, datetime]]:
        """Key of the signature, item, serial, stage, digest of its answers, their count, and time."""
        key = self.signature
        for place, item, serial, opened in self._frame_items():
            by_stage: dict[int, list[UUID]] = defaultdict(list)
            for row, operation in zip(self._model(place), self.operations[place], strict=True):
                by_stage[self.keys["stages"][row["checkpoint_id"]]].append(operation)
            for stage, operations in by_stage.items():
                yield key, item, serial, stage, covers(operations), len(operations), opened + timedelta(days=stage)
                key += 1

    def _signatures(self) -> Iterator[Sequence[Any]]:
        signed = (self.keys["by"], "inspector", "sign a stage", "as recorded")
        for key, _, serial, _, digest, _, at in self._signed():
            yield key, uuid7(), *signed, f"unit {serial}", digest, "demonstration", at

    def _sign_offs(self) -> Iterator[Sequence[Any]]:
        for key, item, _, stage, digest, count, at in self._signed():
            yield uuid7(), item, stage, key, digest, count, at

    def _model(self, place: int) -> list[dict[str, Any]]:
        """The rows that the frame's results are copied from."""
        return self.fleet.models[self.numbers[place] % VARIANTS]

    def acts(self) -> Iterator[bulk_audit.Act]:
        """What the history of a frame tells: opened, answered stage by stage, parts and material."""
        actor = self.fleet.shop.person(Role.INSPECTOR).uuid
        for place, _, serial, opened in self._frame_items():
            number, subject = self.numbers[place], f"unit {serial}"
            yield bulk_audit.Act(Verb.UNIT_OPENED, actor, subject, opened, {"plan": "D", "order_number": f"S-{number}"})
            for stage in self.fleet.shop.plan.stages:
                at = opened + timedelta(days=stage.number)
                told = {"device": "bench", "results": [["x", "y"]] * 17, "failing": 0}
                yield bulk_audit.Act(Verb.RESULTS_RECORDED, actor, subject, at, told)
                yield bulk_audit.Act(Verb.STAGE_SIGNED, actor, subject, at, {"stage": stage.number, "answers": 17})
            for part in range(1, PARTS + 1):
                told = {"component": f"{PART_FAMILY}-{number * 20 + part:07}", "link": "delivered_with"}
                yield bulk_audit.Act(Verb.COMPONENT_INSTALLED, actor, subject, opened + timedelta(days=8), told)
            yield bulk_audit.Act(Verb.MATERIAL_USED, actor, subject, opened, {"heat": HEAT, "use": "main tubes"})


UNIT = ("id", "item_id", "serial", "lookup", "number", "variant", "order_number", "state", "opened_by_id", "opened_at")
INSTALLATION = ("uuid", "item_id", "component_id", "link", "by_id", "at")
CURRENT = ("item_id", "checkpoint_id", "round", "inspection", "result_id", "conflict")
SIGNATURE = ("id", "uuid", "person_id", "role", "act", "meaning", "subject", "covers", "method", "at")
SIGN_OFF = ("uuid", "item_id", "stage_id", "signature_id", "covers", "answers", "at")


# ------------------------------------------------------------------------------------------------------- writing


def write(label: str, columns: Sequence[str], rows: Iterable[Sequence[Any]]) -> None:
    """The rows in a table, by COPY on PostgreSQL, by `executemany` elsewhere; its counter of keys follows."""
    model = apps.get_model(label)
    table, names = model._meta.db_table, ", ".join(columns)
    with connection.cursor() as cursor:
        if connection.vendor != "postgresql":
            marks = ", ".join(["%s"] * len(columns))
            prepared = [_prepared(model, columns, row) for row in rows]
            cursor.executemany(f"INSERT INTO {table} ({names}) VALUES ({marks})", prepared)  # noqa: S608
            return
        with cursor.copy(f"COPY {table} ({names}) FROM STDIN") as copy:
            for row in rows:
                copy.write_row(row)
        if "id" in columns:
            cursor.execute(f"SELECT setval(pg_get_serial_sequence('{table}', 'id'), max(id)) FROM {table}")  # noqa: S608


def _prepared(model: Any, columns: Sequence[str], row: Sequence[Any]) -> list[Any]:
    kinds = {one.attname: one for one in model._meta.concrete_fields}
    return [
        value if isinstance(value, str | int | float | None) else kinds[name].get_db_prep_save(value, connection)
        for name, value in zip(columns, row, strict=True)
    ]


def _unguarded() -> None:
    """For this transaction no trigger asks of each row whether what it names is there: it was made just now."""
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SET LOCAL session_replication_role = replica")


@contextmanager
def _without_indexes(table: str) -> Iterator[None]:
    """The table without its plain indexes while millions of rows go in; made again afterwards."""
    if connection.vendor != "postgresql":
        yield
        return
    with connection.cursor() as cursor:
        cursor.execute(
            """SELECT i.indexrelid::regclass::text, pg_get_indexdef(i.indexrelid) FROM pg_index i
               WHERE i.indrelid = %s::regclass
                 AND NOT EXISTS (SELECT 1 FROM pg_constraint c WHERE c.conindid = i.indexrelid)""",
            [table],
        )
        indexes = cursor.fetchall()
        for name, _ in indexes:
            cursor.execute(f"DROP INDEX {name}")
    try:
        yield
    finally:
        with connection.cursor() as cursor:
            for _, definition in indexes:
                cursor.execute(definition)
