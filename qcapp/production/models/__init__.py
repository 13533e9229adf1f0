"""Part families, the things that are inspected, holds on them, and who welded what."""

from __future__ import annotations

from django.db import models

from qcapp.lib.fields import DecimalTextField, uuid7
from qcapp.lib.write_once import WriteOnceModel

from ..states import HeatState, LotState, UnitState
from .joints import JointPlace
from .papers import EyesightCheck, Fixture, FixtureVerification, InspectorAuthorisation, QualificationConfirmation


class PartFamily(models.Model):
    """A kind of part with its own inspection plan."""

    code = models.CharField(max_length=20, unique=True)  # "FR-200"
    name = models.CharField(max_length=80)
    serial_pattern = models.CharField(max_length=60)  # "FR-200-{number:4}"
    certificate_prefix = models.CharField(max_length=12)  # "FR": series of certificate numbers

    class Meta:
        ordering = ["code"]

    def __str__(self) -> str:
        return f"{self.code} {self.name}"


class Item(models.Model):
    """The one subject of an inspection: a unit, a lot, or a piece of a lot. Everything points at it."""

    class Kind(models.TextChoices):
        UNIT = "unit", "unit"
        LOT = "lot", "lot"
        PIECE = "piece", "piece of a lot"

    uuid = models.UUIDField(default=uuid7, unique=True, editable=False)
    kind = models.CharField(max_length=8, choices=Kind.choices)
    family = models.ForeignKey(PartFamily, on_delete=models.PROTECT, related_name="items")

    def __str__(self) -> str:
        return f"{self.kind} {self.uuid}"


class Unit(models.Model):
    """One serialized part. `state` is a projection of UnitEvent; the serial never changes."""

    item = models.OneToOneField(Item, on_delete=models.PROTECT, related_name="unit")
    serial = models.CharField(max_length=40, unique=True)
    lookup = models.CharField(max_length=40, db_index=True)  # serial as core.identification.lookup_key gives it
    number = models.IntegerField()  # the running number inside the serial: position for sampling
    variant = models.CharField(max_length=60, blank=True)
    order_number = models.CharField(max_length=40, blank=True)
    state = models.CharField(max_length=12, choices=[(s.value, s.label) for s in UnitState])
    away = models.BooleanField(default=False, db_default=False)  # as `Lot.away`
    opened_by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    opened_at = models.DateTimeField()

    class Meta:
        indexes = [models.Index(fields=["-opened_at"], name="production_unit_recent")]  # the floor's list

    def __str__(self) -> str:
        return self.serial


class UnitEvent(WriteOnceModel):
    """A change of a unit's state, with who and why."""

    unit = models.ForeignKey(Unit, on_delete=models.PROTECT, related_name="events")
    move = models.CharField(max_length=24)
    state = models.CharField(max_length=12, choices=[(s.value, s.label) for s in UnitState])
    reason = models.CharField(max_length=300, blank=True)
    by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.unit_id} {self.move}"


class Hold(WriteOnceModel):
    """Nothing irreversible may follow on this item until it is lifted; `source` names what placed it."""

    uuid = models.UUIDField(default=uuid7, unique=True, editable=False)
    item = models.ForeignKey(Item, on_delete=models.PROTECT, related_name="holds")
    from_stage = models.IntegerField(null=True)  # stages with a higher number than this may not be signed
    source = models.CharField(max_length=60)  # "NCR-2026-0031"
    reason = models.CharField(max_length=300)
    by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["item", "source"], name="production_hold_once_per_source")]

    def __str__(self) -> str:
        return f"hold {self.source}"


class HoldLift(WriteOnceModel):
    """The signed act that lifts a hold."""

    hold = models.OneToOneField(Hold, on_delete=models.PROTECT, related_name="lift")
    reason = models.CharField(max_length=300)
    signature = models.ForeignKey("people.Signature", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    def __str__(self) -> str:
        return f"lift of {self.hold_id}"


class WeldRecord(WriteOnceModel):
    """Who welded a joint of a unit. The latest row of a joint counts; all stay."""

    item = models.ForeignKey(Item, on_delete=models.PROTECT, related_name="welds")
    joint = models.CharField(max_length=12)  # "W7"
    welder = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    procedure = models.CharField(max_length=40, blank=True)
    by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        indexes = [models.Index(fields=["item", "joint"], name="production_weld_joint")]

    def __str__(self) -> str:
        return f"{self.joint} by {self.welder_id}"


class WeldProcedure(WriteOnceModel):
    """A weld procedure in one revision: what may be welded by it. The latest revision that is not withdrawn counts."""

    uuid = models.UUIDField(default=uuid7, unique=True, editable=False)
    number = models.CharField(max_length=20)  # "WP-3"
    revision = models.CharField(max_length=4)
    title = models.CharField(max_length=120)
    process = models.CharField(max_length=8)  # its number in ISO 4063: "141" is TIG
    thickness_from = DecimalTextField()  # in mm, of the thinner part
    thickness_to = DecimalTextField()
    base_grades = models.JSONField(default=list)
    filler = models.CharField(max_length=60, blank=True)
    preheat = models.IntegerField(null=True)  # in °C, at least
    withdrawn = models.BooleanField(default=False)  # a row that says so: this number is not welded by any more
    by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["number", "revision"], name="production_procedure_revision_once")
        ]

    def __str__(self) -> str:
        return f"{self.number} rev {self.revision}"


class WelderQualification(WriteOnceModel):
    """What a welder may weld, by whom it was tested, and until when it holds."""

    uuid = models.UUIDField(default=uuid7, unique=True, editable=False)
    welder = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    certificate = models.CharField(max_length=60)
    process = models.CharField(max_length=8)
    thickness_from = DecimalTextField()
    thickness_to = DecimalTextField()
    issued_on = models.DateField()
    expires_on = models.DateField()  # last day, included
    by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=models.Q(expires_on__gte=models.F("issued_on")), name="production_qualification_dates"
            )
        ]

    def __str__(self) -> str:
        return f"{self.welder_id} {self.process}"


class WeldStart(WriteOnceModel):
    """What was said before an arc was struck: which joints, by which procedure, with what."""

    operation = models.UUIDField(unique=True)
    item = models.ForeignKey(Item, on_delete=models.PROTECT, related_name="weld_starts")
    joints = models.JSONField()
    welder = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    procedure = models.ForeignKey(WeldProcedure, on_delete=models.PROTECT, related_name="starts")
    thickness = DecimalTextField()  # in mm, of the thinner part
    base_grade = models.CharField(max_length=40)
    filler_lot = models.CharField(max_length=40)
    machine = models.CharField(max_length=40)
    fixture = models.CharField(max_length=40, blank=True)
    preheat = models.IntegerField(null=True)  # in °C, as measured
    findings = models.JSONField(default=list)  # what did not fit, where the site records it with a report
    at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.item_id} {', '.join(self.joints)}"


# ---------------------------------------------------------------------------------------- the as-built record


class Place(models.Model):
    """Where a unit or a lot can be: a shelf, a cell, the yard."""

    code = models.CharField(max_length=20, unique=True)  # "YARD-2", as on the label that is scanned
    name = models.CharField(max_length=80)

    class Meta:
        ordering = ["code"]

    def __str__(self) -> str:
        return f"{self.code} {self.name}"


class StationStage(models.Model):
    """Units of a family that come to this stage are inspected at this place: the place is a station."""

    place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="stages")
    family = models.ForeignKey(PartFamily, on_delete=models.PROTECT, related_name="stations")
    stage_number = models.IntegerField()  # the same in every revision of the family's plan

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["place", "family", "stage_number"], name="production_station_stage_once"),
        ]

    def __str__(self) -> str:
        return f"{self.place_id}: {self.family_id} stage {self.stage_number}"


class Movement(WriteOnceModel):
    """An item was put in a place. The latest row says where it is."""

    item = models.ForeignKey(Item, on_delete=models.PROTECT, related_name="movements")
    place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="movements")
    by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        indexes = [models.Index(fields=["item", "-id"], name="production_moved_last")]

    def __str__(self) -> str:
        return f"{self.item_id} to {self.place_id}"


class Heat(models.Model):
    """A melt of steel of one supplier. `state` is a projection of the signed decisions of goods-in."""

    number = models.CharField(max_length=40)
    lookup = models.CharField(max_length=40, db_index=True)
    supplier = models.CharField(max_length=80)
    grade = models.CharField(max_length=20)  # "4130"
    state = models.CharField(max_length=12, choices=[(s.value, s.label) for s in HeatState])
    entered_by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    entered_at = models.DateTimeField()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["supplier", "number"], name="production_heat_once")]

    def __str__(self) -> str:
        return self.number


class Lot(models.Model):
    """Parts made together and not serialized. `state` is a projection of the lot's inspections."""

    item = models.OneToOneField(Item, on_delete=models.PROTECT, related_name="lot")
    code = models.CharField(max_length=36, unique=True)  # "TK-200-L0007"
    lookup = models.CharField(max_length=36, db_index=True)
    number = models.IntegerField()
    quantity = models.IntegerField()  # pieces it has; those found bad are taken out
    state = models.CharField(max_length=12, choices=[(s.value, s.label) for s in LotState])
    away = models.BooleanField(default=False)  # sent out for a process and not received back: a projection of goods-in
    opened_by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    opened_at = models.DateTimeField()

    class Meta:
        constraints = [
            models.CheckConstraint(condition=models.Q(quantity__gte=1), name="production_lot_has_pieces"),
        ]

    def __str__(self) -> str:
        return self.code


class Piece(WriteOnceModel):
    """A numbered piece of a lot. Its item is inspected as a unit's is, under the serial that `Unit` holds."""

    item = models.OneToOneField(Item, on_delete=models.PROTECT, related_name="piece")
    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="pieces")
    number = models.IntegerField()  # from 1 to the lot's quantity

    class Meta:
        constraints = [models.UniqueConstraint(fields=["lot", "number"], name="production_piece_once")]

    def __str__(self) -> str:
        return f"{self.lot_id}.{self.number}"


class Consumption(WriteOnceModel):
    """A heat or a lot went into an item: a unit, or a lot made from a heat."""

    item = models.ForeignKey(Item, on_delete=models.PROTECT, related_name="consumed")
    heat = models.ForeignKey(Heat, null=True, on_delete=models.PROTECT, related_name="used_in")
    lot = models.ForeignKey(Lot, null=True, on_delete=models.PROTECT, related_name="used_in")
    use = models.CharField(max_length=80, blank=True)  # "main tubes"
    quantity = models.IntegerField(null=True)  # pieces of a lot
    by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=models.Q(heat__isnull=True) ^ models.Q(lot__isnull=True),
                name="production_consumed_heat_or_lot",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.heat_id or self.lot_id} in {self.item_id}"


class Installation(WriteOnceModel):
    """A component put in a unit; it is there until a removal says otherwise."""

    class Link(models.TextChoices):
        TRIAL_FITTED = "trial_fitted", "trial-fitted"
        DELIVERED_WITH = "delivered_with", "delivered with"
        WELDED_IN = "welded_in", "welded in"

    uuid = models.UUIDField(default=uuid7, unique=True, editable=False)
    item = models.ForeignKey(Item, on_delete=models.PROTECT, related_name="components")  # the unit it is in
    component = models.ForeignKey(Item, on_delete=models.PROTECT, related_name="installed_in")
    link = models.CharField(max_length=16, choices=Link.choices)
    place = models.ForeignKey(Place, null=True, on_delete=models.PROTECT, related_name="+")
    by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.component_id} in {self.item_id}"


class Removal(WriteOnceModel):
    """A component taken out again, and why."""

    installation = models.OneToOneField(Installation, on_delete=models.PROTECT, related_name="removal")
    reason = models.CharField(max_length=300)
    by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    def __str__(self) -> str:
        return f"removal of {self.installation_id}"


class Identity(WriteOnceModel):
    """A mark on the part: the tag it carries first, then the serial or VIN stamped and read back by another person."""

    class Kind(models.TextChoices):
        TAG = "tag", "stamped tag"
        SERIAL = "serial", "serial stamped"
        VIN = "vin", "VIN stamped"

    item = models.ForeignKey(Item, on_delete=models.PROTECT, related_name="identities")
    kind = models.CharField(max_length=8, choices=Kind.choices)
    text = models.CharField(max_length=40)
    lookup = models.CharField(max_length=40, db_index=True)
    photo = models.ForeignKey("evidence.EvidenceFile", null=True, on_delete=models.PROTECT, related_name="+")
    by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    read_back_by = models.ForeignKey("people.Person", null=True, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["kind", "text"], name="production_mark_once")]

    def __str__(self) -> str:
        return f"{self.kind} {self.text}"


__all__ = [
    "Consumption", "EyesightCheck", "Fixture", "FixtureVerification", "Heat", "Hold", "HoldLift", "Identity",
    "InspectorAuthorisation", "Installation", "Item", "JointPlace", "Lot", "Movement", "PartFamily", "Piece", "Place",
    "QualificationConfirmation", "Removal", "Unit", "UnitEvent", "WeldProcedure", "WeldRecord", "WeldStart",
    "WelderQualification",
]  # fmt: skip
