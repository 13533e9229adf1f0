"""Invented tables. They have no migrations, so that the test database gets them as they stand."""

from __future__ import annotations

from django.db import models

from qcapp.lib.fields import DecimalTextField, state_field, state_is_known, uuid7
from qcapp.lib.write_once import FrozenWhen, WriteOnceModel

from .states import Colour


class Reading(WriteOnceModel):
    uuid = models.UUIDField(default=uuid7, unique=True)
    value = DecimalTextField(null=True, blank=True)
    note = models.CharField(max_length=40, blank=True)

    def __str__(self) -> str:
        return self.note


class Drawing(models.Model):
    name = models.CharField(max_length=40)
    colour = state_field(Colour, Colour.GREEN)

    class Meta:
        constraints = [state_is_known("colour", Colour, name="guarded_drawing_colour")]

    def __str__(self) -> str:
        return self.name


class DrawingEvent(WriteOnceModel):
    drawing = models.ForeignKey(Drawing, on_delete=models.PROTECT)
    kind = models.CharField(max_length=40)

    def __str__(self) -> str:
        return self.kind


class Line(models.Model):
    frozen_when = FrozenWhen(
        parent_column="drawing_id",
        parent_table="guarded_drawing",
        event_table="guarded_drawingevent",
        event_parent_column="drawing_id",
        condition="kind LIKE 'release%'",
    )

    drawing = models.ForeignKey(Drawing, on_delete=models.PROTECT)
    text = models.CharField(max_length=40)
    replaces = models.ForeignKey("self", null=True, on_delete=models.PROTECT)

    def __str__(self) -> str:
        return self.text
