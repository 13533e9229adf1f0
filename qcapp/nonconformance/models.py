"""Nonconformance reports: the frozen facts, the moves beside them, dispositions with signatures, concessions."""

from __future__ import annotations

import json
from typing import Any

from django.db import models

from qcapp.lib.fields import DecimalTextField, uuid7
from qcapp.lib.write_once import WriteOnceModel

from .states import Disposition, ReportState


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

    def __str__(self) -> str:
        return self.number
