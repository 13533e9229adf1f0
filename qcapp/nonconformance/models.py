"""Nonconformance reports: the frozen facts, the moves beside them, dispositions with signatures, concessions."""

from __future__ import annotations

import json
from typing import Any

from django.db import models

from qcapp.lib.fields import DecimalTextField, uuid7
from qcapp.lib.write_once import WriteOnceModel

from .states import Disposition, Method, ReportState


class Report(WriteOnceModel):
    """The facts as they were when the report was raised. What became of it stands in Move and ReportStatus."""

    class Severity(models.TextChoices):
        CRITICAL = "critical", "critical"
        MAJOR = "major", "major"
        MINOR = "minor", "minor"

    class Cause(models.TextChoices):
        UNKNOWN = "unknown", "not known yet"
        MATERIAL = "material", "material"
        METHOD = "method", "method"
        MACHINE = "machine", "machine"
        MEASUREMENT = "measurement", "measurement"
        PERSON = "person", "person"
        ENVIRONMENT = "environment", "environment"

    uuid = models.UUIDField(default=uuid7, unique=True, editable=False)
    number = models.CharField(max_length=20, unique=True)  # "NCR-2026-0031"
    item = models.ForeignKey("production.Item", on_delete=models.PROTECT, related_name="reports")
    checkpoint = models.ForeignKey("plans.Checkpoint", null=True, on_delete=models.PROTECT, related_name="reports")
    result = models.OneToOneField("inspections.Result", null=True, on_delete=models.PROTECT, related_name="report")
    title = models.CharField(max_length=160)
    description = models.CharField(max_length=600, blank=True)
    severity = models.CharField(max_length=8, choices=Severity.choices)
    facts = models.TextField()  # canonical JSON: value, band, excess, gauge, person, time as they stood
    raised_by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    raised_at = models.DateTimeField()

    class Meta:
        indexes = [models.Index(fields=["item"], name="nonconformance_report_item")]

    def __str__(self) -> str:
        return self.number

    @property
    def result_answer(self) -> dict[str, Any]:
        """The answer that raised it, as stored; empty for a report by hand."""
        answer: dict[str, Any] = json.loads(self.result.answer) if self.result else {}
        return answer


class ReportStatus(models.Model):
    """The report's state now, a projection of its moves; the queue reads this table."""

    report = models.OneToOneField(Report, on_delete=models.PROTECT, related_name="status")
    state = models.CharField(max_length=16, choices=[(s.value, s.label) for s in ReportState])
    # the disposition in force: none before it is decided, and none again when a correction failed
    decided = models.ForeignKey("DispositionProposal", null=True, on_delete=models.PROTECT, related_name="+")
    cause = models.CharField(max_length=12, choices=Report.Cause.choices, default=Report.Cause.UNKNOWN)
    changed_at = models.DateTimeField()

    class Meta:
        indexes = [models.Index(fields=["state", "changed_at"], name="nonconformance_queue")]

    def __str__(self) -> str:
        return self.state


class Move(WriteOnceModel):
    """One step of a report, with who, when, why, and the signature where the step is signed."""

    report = models.ForeignKey(Report, on_delete=models.PROTECT, related_name="moves")
    name = models.CharField(max_length=32)
    from_state = models.CharField(max_length=16)
    to_state = models.CharField(max_length=16)
    note = models.CharField(max_length=600, blank=True)
    data = models.TextField(default="{}")  # canonical JSON: checkpoints to inspect again, procedure, cause …
    by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    signature = models.ForeignKey("people.Signature", null=True, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["id"]

    def __str__(self) -> str:
        return f"{self.report_id} {self.name}"


class DispositionProposal(WriteOnceModel):
    """What is proposed to be done. Decided once every role it needs has signed; a new proposal starts afresh."""

    report = models.ForeignKey(Report, on_delete=models.PROTECT, related_name="proposals")
    disposition = models.CharField(max_length=20, choices=[(d.value, d.label) for d in Disposition])
    instruction = models.CharField(max_length=600)
    procedure = models.CharField(max_length=60, blank=True)
    reinspect = models.JSONField(default=list)  # keys of the checkpoints to inspect again
    concession_lower = DecimalTextField(null=True, blank=True)
    concession_upper = DecimalTextField(null=True, blank=True)
    roles = models.JSONField(default=list)  # whose signatures are needed
    method = models.CharField(max_length=20, blank=True, default="", choices=[(m.value, m.label) for m in Method])
    max_attempts = models.SmallIntegerField(null=True)  # of a method that may not be repeated at will
    left_out_reason = models.CharField(max_length=300, blank=True, default="")  # why disturbed ones are not inspected
    customer_asked = models.BooleanField(default=False)  # the order asks for the customer's approval
    ends_on = models.DateField(null=True)  # last day on which the concession may be used
    units_at_most = models.IntegerField(null=True)  # how many units may be accepted under the concession
    permit = models.ForeignKey("DeviationPermit", null=True, on_delete=models.PROTECT, related_name="proposals")
    under = models.ForeignKey("Concession", null=True, on_delete=models.PROTECT, related_name="proposals")
    by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.report_id} {self.disposition}"


class DispositionSignature(WriteOnceModel):
    """One role's signature under a proposal."""

    proposal = models.ForeignKey(DispositionProposal, on_delete=models.PROTECT, related_name="signatures")
    role = models.CharField(max_length=24)
    signature = models.OneToOneField("people.Signature", on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["proposal", "role"], name="nonconformance_role_signs_once"),
        ]

    def __str__(self) -> str:
        return f"{self.proposal_id} {self.role}"


class Concession(WriteOnceModel):
    """Approved permission for one nonconforming item and one checkpoint, with limits of its own.

    In force as long as the disposition it was approved with is: a report that is decided again or withdrawn ends it.
    """

    number = models.CharField(max_length=20, unique=True)  # "CN-2026-0004"
    report = models.ForeignKey(Report, on_delete=models.PROTECT, related_name="concessions")
    proposal = models.OneToOneField(DispositionProposal, on_delete=models.PROTECT, related_name="concession")
    item = models.ForeignKey("production.Item", on_delete=models.PROTECT, related_name="concessions")
    checkpoint = models.ForeignKey("plans.Checkpoint", null=True, on_delete=models.PROTECT, related_name="concessions")
    lower = DecimalTextField(null=True, blank=True)
    upper = DecimalTextField(null=True, blank=True)
    statement = models.CharField(max_length=400)
    approved_at = models.DateTimeField()
    ends_on = models.DateField(null=True)
    units_at_most = models.IntegerField(null=True)  # None: only the units of its report
    customer_approval = models.CharField(max_length=120, blank=True, default="")

    def __str__(self) -> str:
        return self.number


class ConcessionUse(WriteOnceModel):
    """Further units that were accepted under a concession with a number of units; they are counted."""

    concession = models.ForeignKey(Concession, on_delete=models.PROTECT, related_name="uses")
    report = models.OneToOneField(Report, on_delete=models.PROTECT, related_name="concession_use")
    units = models.IntegerField()
    at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.concession_id} for {self.report_id}"


class DeviationPermit(WriteOnceModel):
    """Permission given before making: these units, or so many, may leave the limits of one checkpoint so far.

    Approved once the engineer and the quality manager have signed it, two persons.
    """

    number = models.CharField(max_length=20, unique=True)  # "DP-2026-0002"
    family = models.ForeignKey("production.PartFamily", on_delete=models.PROTECT, related_name="+")
    characteristic = models.ForeignKey("plans.Characteristic", on_delete=models.PROTECT, related_name="permits")
    lower = DecimalTextField(null=True, blank=True)
    upper = DecimalTextField(null=True, blank=True)
    statement = models.CharField(max_length=400)
    serials = models.JSONField(default=list)  # empty: any unit of the family
    quantity = models.IntegerField(null=True)  # how many units may use it
    ends_on = models.DateField(null=True)
    customer_approval = models.CharField(max_length=120, blank=True)
    by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    def __str__(self) -> str:
        return self.number


class PermitSignature(WriteOnceModel):
    """One role's signature under a deviation permit."""

    permit = models.ForeignKey(DeviationPermit, on_delete=models.PROTECT, related_name="signatures")
    role = models.CharField(max_length=24)
    signature = models.OneToOneField("people.Signature", on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints = [models.UniqueConstraint(fields=["permit", "role"], name="nonconformance_permit_role_once")]

    def __str__(self) -> str:
        return f"{self.permit_id} {self.role}"


class PermitUse(WriteOnceModel):
    """A unit that was accepted under a permit; they are counted."""

    permit = models.ForeignKey(DeviationPermit, on_delete=models.PROTECT, related_name="uses")
    report = models.OneToOneField(Report, on_delete=models.PROTECT, related_name="permit_use")
    at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.permit_id} for {self.report_id}"


class DeciderRule(WriteOnceModel):
    """Whose signatures a disposition needs from now on. The latest row counts; without one the table of states.py."""

    severity = models.CharField(max_length=8, choices=Report.Severity.choices)
    disposition = models.CharField(max_length=20, choices=[(d.value, d.label) for d in Disposition])
    roles = models.JSONField()
    reason = models.CharField(max_length=300)
    by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.severity} {self.disposition}"


# ------------------------------------------------------------------------------------- more about one report


class ReportItem(WriteOnceModel):
    """A further item that the same report is about: one report instead of a flood."""

    report = models.ForeignKey(Report, on_delete=models.PROTECT, related_name="further")
    item = models.ForeignKey("production.Item", on_delete=models.PROTECT, related_name="grouped_in")
    by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["report", "item"], name="nonconformance_item_once")]

    def __str__(self) -> str:
        return f"{self.report_id} also {self.item_id}"


class ReportPicture(WriteOnceModel):
    """A photo of what was found, and the mark on it: fractions of width and height.

    Older rows with a sheet were marks on the drawing; each has its ReportMark, and nothing reads the sheet any more.
    """

    report = models.ForeignKey(Report, on_delete=models.PROTECT, related_name="pictures")
    evidence = models.UUIDField()
    mark_x = DecimalTextField(null=True, blank=True)
    mark_y = DecimalTextField(null=True, blank=True)
    sheet = models.CharField(max_length=40, blank=True)  # empty since marks on the drawing have a table of their own
    caption = models.CharField(max_length=160, blank=True)
    by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["id"]

    def __str__(self) -> str:
        return f"picture {self.evidence}"


class ReportMark(WriteOnceModel):
    """Where on a sheet of the drawing it is: fractions of the sheet's width and height.

    The one table of such marks, however they were made. A further mark stands beside the others; of the rest the latest
    counts.
    """

    report = models.ForeignKey(Report, on_delete=models.PROTECT, related_name="marks")
    sheet = models.UUIDField()
    x = DecimalTextField()
    y = DecimalTextField()
    further = models.BooleanField(default=False)  # one place of several
    caption = models.CharField(max_length=160, blank=True, default="")
    by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["id"]

    def __str__(self) -> str:
        return f"{self.report_id} at {self.x}, {self.y}"


class CorrectionStep(WriteOnceModel):
    """One line of the instruction, to be confirmed on the floor."""

    proposal = models.ForeignKey(DispositionProposal, on_delete=models.PROTECT, related_name="steps")
    position = models.SmallIntegerField()
    text = models.CharField(max_length=300)

    class Meta:
        ordering = ["position"]
        constraints = [models.UniqueConstraint(fields=["proposal", "position"], name="nonconformance_step_once")]

    def __str__(self) -> str:
        return f"{self.position} {self.text}"


class StepConfirmation(WriteOnceModel):
    """Who did a step, and when. One per attempt: `turn` counts the starts of the correction."""

    step = models.ForeignKey(CorrectionStep, on_delete=models.PROTECT, related_name="confirmations")
    turn = models.SmallIntegerField()
    note = models.CharField(max_length=300, blank=True)
    by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["step", "turn"], name="nonconformance_step_confirmed_once")]

    def __str__(self) -> str:
        return f"{self.step_id} turn {self.turn}"


class DispositionPart(WriteOnceModel):
    """So many pieces of a lot, and what is done with them."""

    proposal = models.ForeignKey(DispositionProposal, on_delete=models.PROTECT, related_name="parts")
    disposition = models.CharField(max_length=20, choices=[(d.value, d.label) for d in Disposition])
    quantity = models.IntegerField()

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(fields=["proposal", "disposition"], name="nonconformance_part_once"),
            models.CheckConstraint(condition=models.Q(quantity__gt=0), name="nonconformance_part_positive"),
        ]

    def __str__(self) -> str:
        return f"{self.quantity} {self.disposition}"


class CustomerApproval(WriteOnceModel):
    """What the customer wrote when asked."""

    proposal = models.OneToOneField(DispositionProposal, on_delete=models.PROTECT, related_name="customer_approval")
    reference = models.CharField(max_length=120)
    by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    def __str__(self) -> str:
        return self.reference


class Destruction(WriteOnceModel):
    """One of two signatures that the number of a scrapped part is destroyed: who did it, and who saw it."""

    report = models.ForeignKey(Report, on_delete=models.PROTECT, related_name="destructions")
    part = models.CharField(max_length=8, choices=[("done", "done by"), ("seen", "witnessed by")])
    how = models.CharField(max_length=300)
    signature = models.OneToOneField("people.Signature", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["id"]
        constraints = [models.UniqueConstraint(fields=["report", "part"], name="nonconformance_destroyed_once")]

    def __str__(self) -> str:
        return f"{self.report_id} {self.part}"


class ReturnNote(WriteOnceModel):
    """The paper that goes with parts returned to their supplier."""

    number = models.CharField(max_length=20, unique=True)  # "RN-2026-0003"
    report = models.OneToOneField(Report, on_delete=models.PROTECT, related_name="return_note")
    supplier = models.CharField(max_length=120)
    delivery = models.CharField(max_length=80, blank=True)
    quantity = models.IntegerField()
    text = models.CharField(max_length=600)
    by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    def __str__(self) -> str:
        return self.number
