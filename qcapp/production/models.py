"""Part families, the things that are inspected, holds on them, and who welded what."""

from __future__ import annotations

from django.db import models

from qcapp.lib.fields import uuid7
from qcapp.lib.write_once import WriteOnceModel

from .states import UnitState


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
