"""What was done about a gauge that was found out of tolerance: which units were held, and what was known then."""

from __future__ import annotations

import json

from django.db import models

from qcapp.lib.fields import uuid7
from qcapp.lib.write_once import WriteOnceModel


class Recall(WriteOnceModel):
    """One signed act: these units on hold because of this calibration, under one report."""

    uuid = models.UUIDField(default=uuid7, unique=True, editable=False)
    gauge = models.ForeignKey("gauges.Gauge", on_delete=models.PROTECT, related_name="+")
    calibration = models.ForeignKey("gauges.Calibration", on_delete=models.PROTECT, related_name="+")
    report = models.CharField(max_length=20)  # "NCR-2026-0031": the one report over all of them
    reason = models.CharField(max_length=300)
    known = models.TextField()  # canonical JSON: every reading looked at, with its finding, as it stood
    signature = models.ForeignKey("people.Signature", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        indexes = [models.Index(fields=["calibration"], name="recall_of_calibration")]

    def __str__(self) -> str:
        return f"{self.gauge_id} {self.report}"

    @property
    def held_items(self) -> list[int]:
        """The items that this act put on hold."""
        return list(json.loads(self.known)["held"])
