"""Goods-in: deliveries, mill certificates, what was decided about a heat, cutting, and how lots were inspected."""

from __future__ import annotations

from django.db import models

from qcapp.lib.fields import DecimalTextField, uuid7
from qcapp.lib.write_once import WriteOnceModel


class Delivery(WriteOnceModel):
    """What came through goods-in on one note."""

    uuid = models.UUIDField(default=uuid7, unique=True, editable=False)
    number = models.CharField(max_length=24, unique=True)  # "GR-2026-0012"
    supplier = models.CharField(max_length=80)
    order_number = models.CharField(max_length=40, blank=True)
    note_number = models.CharField(max_length=40)
    received_at = models.DateTimeField()
    by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")

    def __str__(self) -> str:
        return self.number


class DeliveryLine(WriteOnceModel):
    """One line of a delivery, as written on its note."""

    delivery = models.ForeignKey(Delivery, on_delete=models.PROTECT, related_name="lines")
    position = models.SmallIntegerField()
    description = models.CharField(max_length=120)
    quantity = DecimalTextField()
    unit_of_measure = models.CharField(max_length=12)
    heat = models.ForeignKey("production.Heat", null=True, on_delete=models.PROTECT, related_name="delivered")

    class Meta:
        constraints = [models.UniqueConstraint(fields=["delivery", "position"], name="goods_line_once")]

    def __str__(self) -> str:
        return self.description


class DeliveredLot(WriteOnceModel):
    """A line of a delivery whose family has an inspection plan: the lot that is inspected before anything is used."""

    line = models.OneToOneField(DeliveryLine, on_delete=models.PROTECT, related_name="delivered_lot")
    lot = models.OneToOneField("production.Lot", on_delete=models.PROTECT, related_name="delivered")

    def __str__(self) -> str:
        return f"{self.lot_id} of line {self.line_id}"


class DeliveryHold(WriteOnceModel):
    """Nothing of the delivery is issued or used until the hold is lifted: its heats are held, its lots on hold."""

    uuid = models.UUIDField(default=uuid7, unique=True, editable=False)
    delivery = models.ForeignKey(Delivery, on_delete=models.PROTECT, related_name="holds")
    source = models.CharField(max_length=60)  # number of the report, or "GR-2026-0012 hold 1" by hand
    reason = models.CharField(max_length=300)
    heats = models.JSONField(default=dict)  # by the heat's key, the state it goes back to
    by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["id"]
        constraints = [models.UniqueConstraint(fields=["delivery", "source"], name="goods_hold_once")]

    def __str__(self) -> str:
        return f"{self.delivery_id} {self.source}"


class DeliveryHoldLift(WriteOnceModel):
    """A signed act: the hold on a delivery is lifted."""

    hold = models.OneToOneField(DeliveryHold, on_delete=models.PROTECT, related_name="lift")
    reason = models.CharField(max_length=300)
    signature = models.OneToOneField("people.Signature", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    def __str__(self) -> str:
        return f"lift of {self.hold_id}"


class MillCertificate(WriteOnceModel):
    """A supplier's paper about one or more heats, kept as it came."""

    uuid = models.UUIDField(default=uuid7, unique=True, editable=False)
    number = models.CharField(max_length=60)
    supplier = models.CharField(max_length=80)
    paper = models.ForeignKey("evidence.EvidenceFile", on_delete=models.PROTECT, related_name="+")
    delivery = models.ForeignKey(Delivery, null=True, on_delete=models.PROTECT, related_name="certificates")
    by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["supplier", "number"], name="goods_certificate_once")]

    def __str__(self) -> str:
        return self.number


class CertifiedHeat(WriteOnceModel):
    """What a mill certificate says of one heat in one size and condition, and what the check of it found then."""

    certificate = models.ForeignKey(MillCertificate, on_delete=models.PROTECT, related_name="heats")
    heat = models.ForeignKey("production.Heat", on_delete=models.PROTECT, related_name="certified")
    specification = models.CharField(max_length=40, blank=True)
    condition = models.CharField(max_length=40, blank=True)
    size = models.CharField(max_length=40, blank=True)  # "38.1 × 2.11 mm"
    thickness = DecimalTextField(null=True)  # wall in mm
    composition = models.JSONField(default=dict)  # percent of mass as text, by element
    properties = models.JSONField(default=dict)  # test values as text, by property
    conforms = models.BooleanField()
    findings = models.JSONField(default=list)  # [{"about", "ok", "reported", "sentence"}]
    carbon_equivalent = models.CharField(max_length=12, blank=True)  # percent, IIW
    cracking = models.TextField(blank=True)  # the sentences about cracking

    def __str__(self) -> str:
        return f"{self.heat_id} on {self.certificate_id}"


class HeatDecision(WriteOnceModel):
    """A signed act: the heat is accepted, held or refused. The latest row counts."""

    class Verdict(models.TextChoices):
        ACCEPTED = "accepted", "accepted"
        HELD = "held", "held"
        REFUSED = "refused", "refused"

    heat = models.ForeignKey("production.Heat", on_delete=models.PROTECT, related_name="decisions")
    verdict = models.CharField(max_length=8, choices=Verdict.choices)
    reason = models.CharField(max_length=300, blank=True)
    signature = models.OneToOneField("people.Signature", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.heat_id} {self.verdict}"


class Cut(WriteOnceModel):
    """A bar or tube was cut: the heat mark was put on the pieces and on the remnant."""

    heat = models.ForeignKey("production.Heat", on_delete=models.PROTECT, related_name="cuts")
    stock = models.CharField(max_length=60)  # which bar or tube
    pieces = models.IntegerField()
    lot = models.ForeignKey("production.Lot", null=True, on_delete=models.PROTECT, related_name="cuts")
    remnant = models.CharField(max_length=60, blank=True)  # empty when nothing was left
    by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.pieces} of {self.stock}"


class GradeCheck(WriteOnceModel):
    """The grade of a tube verified when it was issued, by an instrument or a spark."""

    heat = models.ForeignKey("production.Heat", on_delete=models.PROTECT, related_name="grade_checks")
    method = models.CharField(max_length=60)
    grade_found = models.CharField(max_length=20)
    conforms = models.BooleanField()
    by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.heat_id}: {self.grade_found}"


class GradeDemand(WriteOnceModel):
    """Grade verification is asked at issue of what has this grade and size and goes into this family; empty: of any.

    The latest row of the same three counts; one that is not `asked` ends what was asked before.
    """

    uuid = models.UUIDField(default=uuid7, unique=True, editable=False)
    grade = models.CharField(max_length=20, blank=True)
    size = models.CharField(max_length=40, blank=True)  # "38.1 × 2.11 mm", as on the mill certificate
    family = models.ForeignKey("production.PartFamily", null=True, on_delete=models.PROTECT, related_name="+")
    asked = models.BooleanField()
    reason = models.CharField(max_length=300)
    by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.grade} {self.size} {self.family_id}"


class VerifiedIssue(WriteOnceModel):
    """A grade check let one issue of the heat go: a cut, for a lot or for none, or a use in a unit or lot."""

    check_made = models.OneToOneField(GradeCheck, on_delete=models.PROTECT, related_name="issue")
    item = models.ForeignKey("production.Item", null=True, on_delete=models.PROTECT, related_name="verified_issues")
    at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.check_made_id} for {self.item_id}"


class LotSample(WriteOnceModel):
    """The pieces drawn from a lot, and by which plan."""

    lot = models.OneToOneField("production.Lot", on_delete=models.PROTECT, related_name="sample")
    severity = models.CharField(max_length=12)  # normal, tightened, reduced; "isolated" goes by limiting quality
    reason = models.CharField(max_length=200)  # why that severity
    plans = models.JSONField()  # {"major": {"aql", "sample_size", "accept", "reject", "source"}, "minor": …}
    pieces = models.JSONField()  # the numbers drawn
    seed = models.CharField(max_length=60)  # what the draw was made with, so that it can be made again
    by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    def __str__(self) -> str:
        return f"sample of {self.lot_id}"


class LotVerdict(WriteOnceModel):
    """What the sample said: nonconforming pieces by class, and whether the lot is accepted."""

    sample = models.OneToOneField(LotSample, on_delete=models.PROTECT, related_name="verdict")
    accepted = models.BooleanField()
    found = models.JSONField()  # {"major": 0, "minor": 1}
    tighter = models.BooleanField()  # whether it would have passed one AQL step tighter, for the switching score
    between = models.BooleanField()  # between the numbers of a reduced plan
    removed = models.JSONField()  # numbers of the pieces found bad and taken out
    sentence = models.CharField(max_length=300)
    by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    def __str__(self) -> str:
        return self.sentence


class LotSorting(WriteOnceModel):
    """Every piece of a refused lot was looked at: how many were taken out."""

    lot = models.OneToOneField("production.Lot", on_delete=models.PROTECT, related_name="sorting")
    checked = models.IntegerField()
    removed = models.IntegerField()
    remark = models.CharField(max_length=300)
    signature = models.OneToOneField("people.Signature", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.removed} of {self.checked} taken out"


class OutsideProcess(WriteOnceModel):
    """A lot or a unit sent out for plating, coating or heat treatment."""

    class Kind(models.TextChoices):
        PLATING = "plating", "plating"
        COATING = "coating", "coating"
        HEAT_TREATMENT = "heat_treatment", "heat treatment"

    item = models.ForeignKey("production.Item", on_delete=models.PROTECT, related_name="sent_out")
    kind = models.CharField(max_length=16, choices=Kind.choices)
    supplier = models.CharField(max_length=80)
    high_strength = models.BooleanField()  # plated, such parts are baked against hydrogen
    by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.item_id} {self.kind}"


class OutsideReturn(WriteOnceModel):
    """The lot or unit came back, on a delivery with the certificate of the process."""

    process = models.OneToOneField(OutsideProcess, on_delete=models.PROTECT, related_name="returned")
    delivery = models.ForeignKey(Delivery, on_delete=models.PROTECT, related_name="returns")
    paper = models.ForeignKey("evidence.EvidenceFile", on_delete=models.PROTECT, related_name="+")
    bake_hours = DecimalTextField(null=True)
    bake_temperature = DecimalTextField(null=True)  # °C
    by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    def __str__(self) -> str:
        return f"return of {self.process_id}"
