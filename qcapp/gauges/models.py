"""Kinds of gauge, gauges and their calibrations."""

from __future__ import annotations

from django.db import models
from django.db.models.functions import Lower

from qcapp.lib.fields import DecimalTextField, uuid7
from qcapp.lib.write_once import WriteOnceModel


class GaugeKind(models.Model):
    """What a plan asks for: "caliper", "bore gauge". The key is what plan files write."""

    key = models.SlugField(max_length=40, unique=True)
    name = models.CharField(max_length=80)

    def __str__(self) -> str:
        return self.name


class Gauge(WriteOnceModel):
    """One gauge with the number on its label. What happens to it is written beside it; it is not deleted."""

    uuid = models.UUIDField(default=uuid7, unique=True, editable=False)
    number = models.CharField(max_length=20, unique=True)
    kind = models.ForeignKey(GaugeKind, on_delete=models.PROTECT, related_name="gauges")
    description = models.CharField(max_length=120, blank=True)
    unit_of_measure = models.CharField(max_length=12, blank=True)
    range_lower = DecimalTextField(null=True, blank=True)
    range_upper = DecimalTextField(null=True, blank=True)
    resolution = DecimalTextField(null=True, blank=True)
    interval_months = models.IntegerField(default=12)
    needs_calibration = models.BooleanField(default=True)  # the eye and a lamp do not

    class Meta:
        constraints = [
            # hg-07 and HG-07 would be one label on the shelf
            models.UniqueConstraint(Lower("number"), name="gauges_gauge_number_once"),
        ]

    def __str__(self) -> str:
        return self.number


class Calibration(WriteOnceModel):
    """A calibration: what was found, how uncertain the gauge is after it, and until when it may be used."""

    class Outcome(models.TextChoices):
        PASSED = "passed", "passed"
        FAILED = "failed", "failed"

    gauge = models.ForeignKey(Gauge, on_delete=models.PROTECT, related_name="calibrations")
    done_on = models.DateField()
    due_on = models.DateField()
    outcome = models.CharField(max_length=8, choices=Outcome.choices)
    expanded_uncertainty = DecimalTextField(null=True, blank=True)  # in the gauge's unit, k = 2
    certificate = models.CharField(max_length=60, blank=True)
    done_by = models.CharField(max_length=120)
    looked_at = models.JSONField(default=list)  # [[question as it was asked, yes or no], …]: the kind's own questions
    recorded_by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    recorded_at = models.DateTimeField()

    class Meta:
        indexes = [models.Index(fields=["gauge", "-done_on"], name="gauges_calibration_latest")]

    def __str__(self) -> str:
        return f"{self.gauge_id} {self.done_on}"


class CalibrationPoint(WriteOnceModel):
    """One point of a calibration, in the gauge's unit of measure."""

    calibration = models.ForeignKey(Calibration, on_delete=models.PROTECT, related_name="points")
    position = models.SmallIntegerField()
    reference = DecimalTextField()
    as_found = DecimalTextField()
    as_left = DecimalTextField(null=True, blank=True)  # empty where nothing was adjusted
    limit = DecimalTextField()  # limit of error, plus and minus
    series = models.CharField(max_length=40, blank=True)  # "inside jaws", "falling": what of the gauge was read

    class Meta:
        ordering = ["position"]
        constraints = [
            models.UniqueConstraint(fields=["calibration", "position"], name="gauges_point_once"),
        ]

    def __str__(self) -> str:
        return f"{self.reference}: {self.as_found}"


class GaugeUse(WriteOnceModel):
    """A gauge taken out of use, put back or retired for good, with the reason. The latest row counts."""

    class Kind(models.TextChoices):
        OUT = "out", "taken out of use"
        BACK = "back", "put back in use"
        RETIRED = "retired", "retired for good"

    gauge = models.ForeignKey(Gauge, on_delete=models.PROTECT, related_name="uses")
    kind = models.CharField(max_length=8, choices=Kind.choices)
    reason = models.CharField(max_length=200)
    by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.gauge_id} {self.kind}"


class SetupRule(WriteOnceModel):
    """A gauge is checked on its setting master before it measures, and again after so many hours. The latest counts."""

    gauge = models.ForeignKey(Gauge, on_delete=models.PROTECT, related_name="setup_rules")
    master = models.CharField(max_length=80)  # "setting ring SR-25"
    reference = DecimalTextField()  # what the master is, in the gauge's unit
    limit = DecimalTextField()  # the reading may differ by so much, plus and minus
    hours = models.SmallIntegerField()  # 0: no check is asked any more
    by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.gauge_id} on {self.master}"


class SetupCheck(WriteOnceModel):
    """What a gauge read on its setting master."""

    operation = models.UUIDField(unique=True)  # UUIDv7 made on the tablet: sending twice is harmless
    rule = models.ForeignKey(SetupRule, on_delete=models.PROTECT, related_name="checks")
    gauge = models.ForeignKey(Gauge, on_delete=models.PROTECT, related_name="setup_checks")
    reading = DecimalTextField()
    passed = models.BooleanField()
    by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    device = models.CharField(max_length=60)
    done_at = models.DateTimeField()  # the tablet's clock
    received_at = models.DateTimeField()

    class Meta:
        indexes = [models.Index(fields=["gauge", "-done_at"], name="gauges_setup_latest")]

    def __str__(self) -> str:
        return f"{self.gauge_id} {self.reading}"


class Study(WriteOnceModel):
    """A gauge study as it was planned: who reads which part in which order. Readings stand beside it."""

    class Kind(models.TextChoices):
        MEASURED = "measured", "measured values"
        ATTRIBUTE = "attribute", "conforms or does not"

    uuid = models.UUIDField(default=uuid7, unique=True, editable=False)
    gauge = models.ForeignKey(Gauge, on_delete=models.PROTECT, related_name="studies")
    kind = models.CharField(max_length=10, choices=Kind.choices)
    title = models.CharField(max_length=160)  # what it is for, in words
    checkpoint = models.CharField(max_length=40, blank=True, db_index=True)  # "FR-200 501": family and number
    unit_of_measure = models.CharField(max_length=12, blank=True)
    lower = DecimalTextField(null=True, blank=True)  # the band that the spread is compared with
    upper = DecimalTextField(null=True, blank=True)
    parts = models.SmallIntegerField()
    trials = models.SmallIntegerField()
    truth = models.JSONField(default=list)  # attribute: which parts conform, known to who planned it
    order = models.JSONField()  # [[person's key, part], …]: what is read one after the other
    by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    def __str__(self) -> str:
        return self.title


class StudyReading(WriteOnceModel):
    """One reading of a study, at its place in the order."""

    study = models.ForeignKey(Study, on_delete=models.PROTECT, related_name="readings")
    place = models.IntegerField()
    value = models.CharField(max_length=40)  # as read, or "yes" and "no"
    by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["study", "place"], name="gauges_study_place_once")]

    def __str__(self) -> str:
        return f"{self.study_id} {self.place}"


class GaugeKeeping(WriteOnceModel):
    """Whose a gauge is, where it lies and how it looks. The latest row counts."""

    gauge = models.ForeignKey(Gauge, on_delete=models.PROTECT, related_name="keepings")
    owner = models.CharField(max_length=80, blank=True)
    place = models.CharField(max_length=80, blank=True)
    picture = models.ForeignKey("evidence.EvidenceFile", null=True, on_delete=models.PROTECT, related_name="+")
    by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.gauge_id} {self.place}"


class GaugeBudget(WriteOnceModel):
    """The uncertainty budget of a gauge. The latest row counts for the calibrations after it."""

    gauge = models.ForeignKey(Gauge, on_delete=models.PROTECT, related_name="budgets")
    lines = models.JSONField()
    expanded = DecimalTextField()  # k = 2, in the gauge's unit, rounded up to two digits
    by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.gauge_id} {self.expanded}"
