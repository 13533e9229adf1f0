"""Corrective actions, costs of nonconformances, field actions. What stands is written once; states are projections."""

from __future__ import annotations

from django.db import models

from qcapp.lib.fields import DecimalTextField, uuid7
from qcapp.lib.write_once import WriteOnceModel

from .states import ActionState, FieldEventKind, StepState


class Setting(WriteOnceModel):
    """What the quality manager set; the latest row counts."""

    rate_per_hour = DecimalTextField()
    currency = models.CharField(max_length=3)  # ISO 4217
    similar_count = models.IntegerField()  # so many similar reports …
    similar_days = models.IntegerField()  # … within so many days propose a corrective action
    units_wanted = models.IntegerField()  # units after the date before the effect is judged
    by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.rate_per_hour} {self.currency} an hour"


class ReportPlace(WriteOnceModel):
    """Where a report belongs in the counts: what its facts say, in columns that the database can group by."""

    report = models.OneToOneField("nonconformance.Report", on_delete=models.PROTECT, related_name="place")
    family = models.ForeignKey("production.PartFamily", on_delete=models.PROTECT, related_name="+")
    characteristic = models.ForeignKey("plans.Characteristic", null=True, on_delete=models.PROTECT, related_name="+")
    raised_at = models.DateTimeField()
    joint = models.CharField(max_length=12, blank=True)
    fixture = models.CharField(max_length=60, blank=True)
    supplier = models.CharField(max_length=80, blank=True)

    class Meta:
        indexes = [
            models.Index(fields=["raised_at"], name="improvement_place_raised"),
            models.Index(fields=["family", "raised_at"], name="improvement_place_family"),
        ]

    def __str__(self) -> str:
        return f"{self.report_id} {self.joint} {self.fixture} {self.supplier}"


class CorrectiveAction(WriteOnceModel):
    """What stops it from coming back: the problem as it was when the action was opened, and what it goes after."""

    uuid = models.UUIDField(default=uuid7, unique=True, editable=False)
    number = models.CharField(max_length=20, unique=True)  # "CA-2026-0003"
    title = models.CharField(max_length=160)
    problem = models.CharField(max_length=600)
    basis = models.CharField(max_length=12)  # checkpoint, joint, fixture, supplier, cause
    value = models.CharField(max_length=120)  # which one
    family = models.ForeignKey("production.PartFamily", null=True, on_delete=models.PROTECT, related_name="+")
    characteristic = models.ForeignKey("plans.Characteristic", null=True, on_delete=models.PROTECT, related_name="+")
    opened_by = models.ForeignKey("people.Person", null=True, on_delete=models.PROTECT, related_name="+")
    opened_at = models.DateTimeField()

    class Meta:
        indexes = [models.Index(fields=["basis", "value"], name="improvement_action_basis")]

    def __str__(self) -> str:
        return self.number


class ActionStatus(models.Model):
    """The action's state now, a projection of its moves."""

    action = models.OneToOneField(CorrectiveAction, on_delete=models.PROTECT, related_name="status")
    state = models.CharField(max_length=12, choices=[(s.value, s.label) for s in ActionState])
    owner = models.ForeignKey("people.Person", null=True, on_delete=models.PROTECT, related_name="+")
    effective_on = models.DateField(null=True)  # from this day units count as made after it
    units_wanted = models.IntegerField(default=0)
    changed_at = models.DateTimeField()

    def __str__(self) -> str:
        return self.state


class ActionReport(WriteOnceModel):
    """A report that the action answers: the cluster that triggered it, or one that came later."""

    action = models.ForeignKey(CorrectiveAction, on_delete=models.PROTECT, related_name="reports")
    report = models.ForeignKey("nonconformance.Report", on_delete=models.PROTECT, related_name="actions")
    at = models.DateTimeField()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["action", "report"], name="improvement_report_once")]

    def __str__(self) -> str:
        return f"{self.action_id} {self.report_id}"


class ActionMove(WriteOnceModel):
    """One step of the action's life, with who, when, why, and the signature where it is signed."""

    action = models.ForeignKey(CorrectiveAction, on_delete=models.PROTECT, related_name="moves")
    name = models.CharField(max_length=24)
    from_state = models.CharField(max_length=12)
    to_state = models.CharField(max_length=12)
    note = models.CharField(max_length=600, blank=True)
    data = models.TextField(default="{}")  # canonical JSON: the effect as computed at closing …
    by = models.ForeignKey("people.Person", null=True, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    signature = models.ForeignKey("people.Signature", null=True, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["id"]

    def __str__(self) -> str:
        return f"{self.action_id} {self.name}"


class CauseChain(WriteOnceModel):
    """Why, and why that, down to what can be changed; the latest of an action counts."""

    action = models.ForeignKey(CorrectiveAction, on_delete=models.PROTECT, related_name="chains")
    whys = models.JSONField(default=list)  # sentences, the first answers why the problem happened
    cause = models.CharField(max_length=12)  # the category of nonconformance reports
    by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.action_id} {len(self.whys)} whys"


class Step(WriteOnceModel):
    """Something that is done about it, by whom and until when."""

    action = models.ForeignKey(CorrectiveAction, on_delete=models.PROTECT, related_name="steps")
    text = models.CharField(max_length=300)
    owner = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    due_on = models.DateField()
    by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["id"]

    def __str__(self) -> str:
        return self.text


class StepEvent(WriteOnceModel):
    """A step done, verified by another person, sent back or cancelled; the latest says where it stands."""

    step = models.ForeignKey(Step, on_delete=models.PROTECT, related_name="events")
    move = models.CharField(max_length=12)
    state = models.CharField(max_length=12, choices=[(s.value, s.value) for s in StepState])
    note = models.CharField(max_length=300, blank=True)
    by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["id"]

    def __str__(self) -> str:
        return f"{self.step_id} {self.state}"


class CostEntry(WriteOnceModel):
    """Minutes at the rate of that day, and material, of a report or an action. A mistake is reversed, never changed."""

    report = models.ForeignKey("nonconformance.Report", null=True, on_delete=models.PROTECT, related_name="costs")
    action = models.ForeignKey(CorrectiveAction, null=True, on_delete=models.PROTECT, related_name="costs")
    what = models.CharField(max_length=160)
    minutes = models.IntegerField()
    rate_per_hour = DecimalTextField()
    material = DecimalTextField()
    currency = models.CharField(max_length=3)
    cents = models.BigIntegerField()  # the sum, in hundredths, for the database to add up
    reverses = models.OneToOneField("self", null=True, on_delete=models.PROTECT, related_name="reversal")
    by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=models.Q(report=None, action__isnull=False) | models.Q(report__isnull=False, action=None),
                name="improvement_cost_of_one",
            )
        ]

    def __str__(self) -> str:
        return f"{self.what}: {self.cents}"


class FieldAction(WriteOnceModel):
    """Units that have left and are to be looked at where they are."""

    number = models.CharField(max_length=20, unique=True)  # "FA-2026-0001"
    title = models.CharField(max_length=160)
    reason = models.CharField(max_length=600)
    action = models.ForeignKey(CorrectiveAction, null=True, on_delete=models.PROTECT, related_name="field_actions")
    opened_by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    opened_at = models.DateTimeField()

    def __str__(self) -> str:
        return self.number


class FieldLetter(WriteOnceModel):
    """What the quality manager writes to the customers; the latest counts."""

    field_action = models.ForeignKey(FieldAction, on_delete=models.PROTECT, related_name="letters")
    subject = models.CharField(max_length=160)
    text = models.TextField()
    by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    def __str__(self) -> str:
        return self.subject


class FieldUnit(WriteOnceModel):
    """One unit of a field action and who has it, as it was known when it was listed."""

    field_action = models.ForeignKey(FieldAction, on_delete=models.PROTECT, related_name="units")
    item = models.ForeignKey("production.Item", on_delete=models.PROTECT, related_name="field_actions")
    serial = models.CharField(max_length=40)
    customer = models.CharField(max_length=160)
    address = models.CharField(max_length=300, blank=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["field_action", "item"], name="improvement_field_unit_once")]

    def __str__(self) -> str:
        return self.serial


class FieldEvent(WriteOnceModel):
    """What happened to a unit of a field action."""

    unit = models.ForeignKey(FieldUnit, on_delete=models.PROTECT, related_name="events")
    kind = models.CharField(max_length=12, choices=[(k.value, k.label) for k in FieldEventKind])
    note = models.CharField(max_length=300, blank=True)
    by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["id"]

    def __str__(self) -> str:
        return f"{self.unit_id} {self.kind}"
