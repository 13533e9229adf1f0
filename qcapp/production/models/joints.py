"""Where the joints of a family are on its drawing: its weld map."""

from __future__ import annotations

from django.db import models

from qcapp.lib.write_once import WriteOnceModel


class JointPlace(WriteOnceModel):
    """Where a joint is on a sheet of the family's drawing; without a place it was taken away from that sheet.

    The latest row of a joint among the sheets of a plan counts. A newer revision of a drawing is a sheet of its own, so
    that what is said of an older unit stays as it was.
    """

    family = models.ForeignKey("production.PartFamily", on_delete=models.PROTECT, related_name="joint_places")
    joint = models.CharField(max_length=12)  # "W7"
    sheet = models.UUIDField()  # of the drawing sheet, which the plans keep
    across = models.IntegerField(null=True)  # from the left, in hundred-thousandths of the width
    down = models.IntegerField(null=True)  # from the top, in hundred-thousandths of the height
    by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        indexes = [models.Index(fields=["family", "sheet"], name="production_joint_of_sheet")]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(across__isnull=True, down__isnull=True)
                | models.Q(across__range=(0, 100_000), down__range=(0, 100_000)),
                name="production_joint_on_its_sheet",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.joint} on {self.sheet}"
