"""Inspection plans: characteristics that keep their identity, revisions, stages, checkpoints, events."""

from __future__ import annotations

from typing import ClassVar

from django.db import models

from qcapp.core.checkpoints.kinds import KINDS
from qcapp.lib.fields import uuid7
from qcapp.lib.write_once import FrozenWhen, WriteOnceModel

from .states import RevisionState

FROZEN_AT_RELEASE = FrozenWhen(
    parent_column="revision_id",
    parent_table="plans_planrevision",
    event_table="plans_revisionevent",
    event_parent_column="revision_id",
    condition="kind = 'release'",
)


class Characteristic(WriteOnceModel):
    """A checkpoint's identity across revisions.

    Its number is never given to another checkpoint of the family.
    """

    family = models.ForeignKey("production.PartFamily", on_delete=models.PROTECT, related_name="characteristics")
    number = models.IntegerField()  # "501"
    key = models.SlugField(max_length=60)  # "head_angle": what formulas, files and tablets name

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["family", "number"], name="plans_characteristic_number_once"),
            models.UniqueConstraint(fields=["family", "key"], name="plans_characteristic_key_once"),
        ]

    def __str__(self) -> str:
        return f"{self.number} {self.key}"


class PlanRevision(WriteOnceModel):
    """One revision of a family's inspection plan.

    State lives in RevisionStatus, so that this row never changes.
    """

    uuid = models.UUIDField(default=uuid7, unique=True, editable=False)
    family = models.ForeignKey("production.PartFamily", on_delete=models.PROTECT, related_name="revisions")
    letter = models.CharField(max_length=4)  # "D"
    title = models.CharField(max_length=120, blank=True)
    change_note = models.CharField(max_length=300, blank=True)
    author = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    created_at = models.DateTimeField()

    def __str__(self) -> str:
        return f"revision {self.letter}"


class Draft(models.Model):
    """The working paper of a revision that is not released: its rows as the plan file writes them.

    Stages, documents, checkpoints and characteristics become rows of their own at the release, and this one
    goes. So a draft may be unfinished, and a number that only a draft gave is free again when it is discarded.
    """

    revision = models.OneToOneField(PlanRevision, on_delete=models.PROTECT, related_name="draft")
    rows = models.TextField()  # JSON, see draft_rows
    digest = models.CharField(max_length=64)  # of `rows`: what did not come through the services is found
    version = models.IntegerField(default=1)  # counts the edits
    writers = models.JSONField(default=list)  # keys of everybody who changed it: none of them may release it
    changed_by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    changed_at = models.DateTimeField()

    def __str__(self) -> str:
        return f"draft of {self.revision_id}, {self.version}"


class DraftStep(models.Model):
    """One edit of a draft that can be undone: the rows as they were before it."""

    draft = models.ForeignKey(Draft, on_delete=models.CASCADE, related_name="steps")
    version = models.IntegerField()  # the draft's version after the edit
    before = models.BinaryField()  # the rows' JSON, compressed
    said = models.CharField(max_length=200)  # "508 limits: H8 becomes H7"
    by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["version"]
        constraints = [models.UniqueConstraint(fields=["draft", "version"], name="plans_draft_step_once")]

    def __str__(self) -> str:
        return self.said


class Stage(models.Model):
    """A numbered step of the build. A hold point: nothing of a later stage may start before it is signed."""

    revision = models.ForeignKey(PlanRevision, on_delete=models.PROTECT, related_name="stages")
    number = models.IntegerField()
    name = models.CharField(max_length=80)
    hold_point = models.BooleanField(default=False)
    witness_point = models.BooleanField(default=False)

    frozen_when: ClassVar[FrozenWhen] = FROZEN_AT_RELEASE

    class Meta:
        ordering = ["number"]
        constraints = [models.UniqueConstraint(fields=["revision", "number"], name="plans_stage_number_once")]

    def __str__(self) -> str:
        return f"{self.number} {self.name}"


class Document(models.Model):
    """A drawing or specification that the revision cites, with the document's own revision."""

    class Kind(models.TextChoices):
        DRAWING = "drawing", "drawing"
        SPECIFICATION = "specification", "specification"

    revision = models.ForeignKey(PlanRevision, on_delete=models.PROTECT, related_name="documents")
    kind = models.CharField(max_length=16, choices=Kind.choices)
    number = models.CharField(max_length=60)
    document_revision = models.CharField(max_length=12)

    frozen_when: ClassVar[FrozenWhen] = FROZEN_AT_RELEASE

    class Meta:
        ordering = ["kind", "number"]
        constraints = [models.UniqueConstraint(fields=["revision", "number"], name="plans_document_once")]

    def __str__(self) -> str:
        return f"{self.number} rev {self.document_revision}"


class Checkpoint(models.Model):
    """What to check at one point of one revision.

    `specified` is the kind's own JSON, read by core.checkpoints.
    """

    class Criticality(models.TextChoices):
        CRITICAL = "critical", "critical"
        MAJOR = "major", "major"
        MINOR = "minor", "minor"

    class Setup(models.TextChoices):
        ANY = "", "as it stands"
        IN_FIXTURE = "in_fixture", "in fixture"
        RESTRAINED = "restrained", "restrained"
        FREE = "free", "free"

    revision = models.ForeignKey(PlanRevision, on_delete=models.PROTECT, related_name="checkpoints")
    stage = models.ForeignKey(Stage, on_delete=models.PROTECT, related_name="checkpoints")
    characteristic = models.ForeignKey(Characteristic, on_delete=models.PROTECT, related_name="checkpoints")
    position = models.IntegerField()  # order on the floor, over the whole plan
    title = models.CharField(max_length=120)
    kind = models.CharField(max_length=12, choices=[(name, name) for name in KINDS])
    specified = models.TextField()  # canonical JSON of the kind's spec
    criticality = models.CharField(max_length=8, choices=Criticality.choices)
    method = models.CharField(max_length=120, blank=True)
    setup = models.CharField(max_length=12, choices=Setup.choices, blank=True)
    gauge_kinds = models.JSONField(default=list)  # keys of gauges.GaugeKind; empty: no gauge needed
    frequency = models.CharField(max_length=24, default="every")  # "every", "first of batch", "1 in 5"
    second_inspection = models.BooleanField(default=False)
    photo = models.BooleanField(default=False)  # the answer counts as proven only with a picture
    joint = models.CharField(max_length=12, blank=True)  # "W7": who welded it may not accept it
    document = models.ForeignKey(Document, null=True, on_delete=models.PROTECT, related_name="+")
    instruction = models.CharField(max_length=400, blank=True)
    caution = models.CharField(max_length=400, blank=True)
    paired_with = models.SlugField(max_length=60, blank=True)  # key of the same dimension before welding
    variants = models.CharField(max_length=120, blank=True)  # "left; not trailer"; empty: on every unit
    after_weld_hours = models.IntegerField(null=True)  # the earliest time after the joint was welded

    frozen_when: ClassVar[FrozenWhen] = FROZEN_AT_RELEASE

    class Meta:
        ordering = ["position"]
        constraints = [
            models.UniqueConstraint(fields=["revision", "characteristic"], name="plans_checkpoint_once"),
            models.UniqueConstraint(fields=["revision", "position"], name="plans_checkpoint_position_once"),
        ]

    def __str__(self) -> str:
        return self.title


class DrawingSheet(WriteOnceModel):
    """One sheet or view of a drawing of a family, as a picture. A newer drawing revision is a sheet of its own."""

    uuid = models.UUIDField(default=uuid7, unique=True, editable=False)
    family = models.ForeignKey("production.PartFamily", on_delete=models.PROTECT, related_name="drawing_sheets")
    number = models.CharField(max_length=60)  # the drawing's, "FR-200-001"
    document_revision = models.CharField(max_length=12)
    sheet = models.IntegerField()
    title = models.CharField(max_length=80)  # "Side view"
    file = models.ForeignKey("evidence.EvidenceFile", on_delete=models.PROTECT, related_name="+")
    width = models.IntegerField()  # pixels, or the units of an SVG: only their ratio is used
    height = models.IntegerField()
    added_by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    added_at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.number} rev {self.document_revision} sheet {self.sheet}"


class RevisionSheet(models.Model):
    """A sheet that the revision is ballooned on."""

    revision = models.ForeignKey(PlanRevision, on_delete=models.PROTECT, related_name="sheets")
    sheet = models.ForeignKey(DrawingSheet, on_delete=models.PROTECT, related_name="used_by")
    position = models.IntegerField()

    frozen_when: ClassVar[FrozenWhen] = FROZEN_AT_RELEASE

    class Meta:
        ordering = ["position"]
        constraints = [models.UniqueConstraint(fields=["revision", "sheet"], name="plans_revision_sheet_once")]

    def __str__(self) -> str:
        return f"{self.revision_id}: {self.sheet_id}"


class Balloon(models.Model):
    """Where a checkpoint is on a sheet.

    A draft's checkpoints are rows of its paper and are named by `row`; the release fills in `checkpoint`.
    """

    revision = models.ForeignKey(PlanRevision, on_delete=models.PROTECT, related_name="balloons")
    row = models.IntegerField()
    checkpoint = models.ForeignKey(Checkpoint, null=True, on_delete=models.PROTECT, related_name="balloons")
    sheet = models.ForeignKey(DrawingSheet, on_delete=models.PROTECT, related_name="balloons")
    across = models.IntegerField()  # from the left, in hundred-thousandths of the width
    down = models.IntegerField()  # from the top, in hundred-thousandths of the height

    frozen_when: ClassVar[FrozenWhen] = FROZEN_AT_RELEASE

    class Meta:
        constraints = [models.UniqueConstraint(fields=["revision", "row"], name="plans_balloon_once")]

    def __str__(self) -> str:
        return f"{self.row} on {self.sheet_id}"


class ReferencePicture(models.Model):
    """How the checkpoint should look: a picture beside its instruction. Rows are named as in Balloon."""

    revision = models.ForeignKey(PlanRevision, on_delete=models.PROTECT, related_name="reference_pictures")
    row = models.IntegerField()
    checkpoint = models.ForeignKey(Checkpoint, null=True, on_delete=models.PROTECT, related_name="reference_pictures")
    file = models.ForeignKey("evidence.EvidenceFile", on_delete=models.PROTECT, related_name="+")

    frozen_when: ClassVar[FrozenWhen] = FROZEN_AT_RELEASE

    class Meta:
        constraints = [models.UniqueConstraint(fields=["revision", "row"], name="plans_reference_picture_once")]

    def __str__(self) -> str:
        return f"{self.row}: {self.file_id}"


class RevisionEvent(WriteOnceModel):
    """What happened to a revision: sent for review, returned, approved, released, superseded, withdrawn."""

    revision = models.ForeignKey(PlanRevision, on_delete=models.PROTECT, related_name="events")
    kind = models.CharField(max_length=20)  # a move's name in states.REVISION_STATES
    state = models.CharField(max_length=12, choices=[(s.value, s.label) for s in RevisionState])
    by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    reason = models.CharField(max_length=300, blank=True)
    signature = models.ForeignKey("people.Signature", null=True, on_delete=models.PROTECT, related_name="+")
    content_digest = models.CharField(max_length=64)  # of the plan's canonical content at that moment

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["revision"], condition=models.Q(kind="release"), name="plans_release_once"),
        ]

    def __str__(self) -> str:
        return f"{self.revision_id} {self.kind}"


class Effectivity(WriteOnceModel):
    """From when on new units are inspected to a released revision: a day, a running number of the serial, or both."""

    revision = models.OneToOneField(PlanRevision, on_delete=models.PROTECT, related_name="effectivity")
    from_day = models.DateField(null=True)
    from_number = models.IntegerField(null=True)

    def __str__(self) -> str:
        return f"{self.revision_id} from {self.from_day or self.from_number}"


class RevisionStatus(models.Model):
    """The revision's state now: a projection of its events."""

    revision = models.OneToOneField(PlanRevision, on_delete=models.PROTECT, related_name="status")
    family = models.ForeignKey("production.PartFamily", on_delete=models.PROTECT, related_name="+")
    letter = models.CharField(max_length=4)
    state = models.CharField(max_length=12, choices=[(s.value, s.label) for s in RevisionState])

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["family"], condition=models.Q(state="released"), name="plans_one_released_per_family"
            ),
            # two imports of the same letter at the same time: one of them loses here
            models.UniqueConstraint(
                fields=["family", "letter"], condition=~models.Q(state="discarded"), name="plans_letter_once"
            ),
        ]

    def __str__(self) -> str:
        return self.state
