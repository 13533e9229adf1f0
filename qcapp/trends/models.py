"""What people decide about charts: signed base periods, points left out, signals acknowledged and told."""

from __future__ import annotations

from django.db import models

from qcapp.lib.fields import uuid7
from qcapp.lib.write_once import WriteOnceModel


class BasePeriod(WriteOnceModel):
    """Control limits frozen over chosen points of one kind of chart. The latest row of a characteristic counts."""

    uuid = models.UUIDField(default=uuid7, unique=True, editable=False)
    characteristic = models.ForeignKey("plans.Characteristic", on_delete=models.PROTECT, related_name="+")
    chart = models.CharField(max_length=24)  # "individuals", "np 10": which chart the limits are for
    unit_of_measure = models.CharField(max_length=12, blank=True)
    center = models.FloatField()
    sigma = models.FloatField(null=True)  # of one point; none for attributes and counts, whose centre gives it
    points = models.IntegerField()
    first_serial = models.CharField(max_length=40)
    last_serial = models.CharField(max_length=40)
    reason = models.CharField(max_length=300)
    signature = models.ForeignKey("people.Signature", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        indexes = [models.Index(fields=["characteristic", "chart", "-id"], name="trends_base_latest")]

    def __str__(self) -> str:
        return f"{self.chart} {self.first_serial} to {self.last_serial}"


class PointExclusion(WriteOnceModel):
    """A result left out of charts with a reason, or put back. The latest row of a result counts."""

    characteristic = models.ForeignKey("plans.Characteristic", on_delete=models.PROTECT, related_name="+")
    result = models.ForeignKey("inspections.Result", on_delete=models.PROTECT, related_name="+")
    serial = models.CharField(max_length=40)
    left_out = models.BooleanField()
    reason = models.CharField(max_length=300)
    by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        indexes = [models.Index(fields=["characteristic", "result"], name="trends_exclusion_point")]

    def __str__(self) -> str:
        return f"{self.serial} {'left out' if self.left_out else 'put back'}"


class Acknowledgement(WriteOnceModel):
    """A signal of the watch page that somebody looked into. It covers the episode that began at `first_result`."""

    characteristic = models.ForeignKey("plans.Characteristic", on_delete=models.PROTECT, related_name="+")
    rule = models.CharField(max_length=40)
    fixture = models.CharField(max_length=60, blank=True)  # empty: all units in order
    first_result = models.ForeignKey("inspections.Result", on_delete=models.PROTECT, related_name="+")
    points = models.IntegerField()  # how many points the episode had then
    sentence = models.CharField(max_length=300)  # what the page said
    reason = models.CharField(max_length=300)
    action = models.CharField(max_length=20, blank=True)  # the corrective action that it was turned into
    by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        indexes = [models.Index(fields=["characteristic", "rule"], name="trends_acknowledged")]

    def __str__(self) -> str:
        return f"{self.rule} {self.sentence}"


class SignalTold(WriteOnceModel):
    """A signal that was put into the quality manager's inbox: once, however often the charts are computed."""

    characteristic = models.ForeignKey("plans.Characteristic", on_delete=models.PROTECT, related_name="+")
    rule = models.CharField(max_length=40)
    fixture = models.CharField(max_length=60, blank=True)
    first_result = models.ForeignKey("inspections.Result", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["characteristic", "rule", "fixture", "first_result"], name="trends_signal_told_once"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.rule} {self.first_result_id}"
