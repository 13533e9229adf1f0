"""What the readers of plans give: frozen values, free of the database."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from qcapp.core.checkpoints.limits import written

from .states import EVENT_WORDS


@dataclass(frozen=True)
class StageCard:
    """A numbered stage. Nothing of a later stage may start before a hold point's stage is signed."""

    id: int
    number: int
    name: str
    hold_point: bool
    witness_point: bool


@dataclass(frozen=True)
class DocumentCard:
    """A drawing or specification that the plan cites."""

    kind: str
    number: str
    revision: str


@dataclass(frozen=True)
class RevisionCard:
    """One revision of a family's inspection plan."""

    id: int
    uuid: UUID
    family_id: int
    family_code: str
    family_name: str
    letter: str
    state: str
    state_label: str
    change_note: str
    author_id: int
    author_name: str
    created_at: datetime
    released_at: datetime | None
    stages: tuple[StageCard, ...]
    checkpoint_count: int
    documents: tuple[DocumentCard, ...]

    @property
    def subject(self) -> str:
        """How the audit chain and signatures name it."""
        return f"plan {self.family_code} {self.letter}"


PARTS = 100_000  # a place on a sheet is counted in this many parts of its width and height


@dataclass(frozen=True)
class SheetCard:
    """One sheet of a drawing as a picture; `width` to `height` is its shape."""

    id: int
    uuid: UUID
    number: str
    document_revision: str
    sheet: int
    title: str
    file_uuid: UUID
    digest: str
    media_type: str
    width: int
    height: int

    @property
    def name(self) -> str:
        """How it is called in lists: "FR-200-001 rev C, sheet 2"."""
        return f"{self.number} rev {self.document_revision}, sheet {self.sheet}"


@dataclass(frozen=True)
class Balloon:
    """Where a checkpoint is: `across` and `down` in hundred-thousandths of the sheet's width and height."""

    sheet: SheetCard
    across: int
    down: int

    @property
    def seen(self) -> str:
        """The place as one text: what a change names as what it saw."""
        return f"{self.sheet.uuid} {self.across} {self.down}"

    def __str__(self) -> str:
        at = f"{self.across * 100 / PARTS:.1f} % across, {self.down * 100 / PARTS:.1f} % down"
        return f"{self.sheet.number} sheet {self.sheet.sheet}, {at}"


@dataclass(frozen=True)
class Picture:
    """A checkpoint's reference picture."""

    file_uuid: UUID
    name: str
    digest: str

    def __str__(self) -> str:
        return f"{self.name} ({self.digest[:8]})"


@dataclass(frozen=True)
class CheckpointCard:
    """One checkpoint of one revision.

    `spec` is the kind's own, as `core.checkpoints` reads it from `spec_json`.
    """

    id: int
    number: int
    key: str
    title: str
    kind: str
    spec: Any
    spec_json: dict[str, Any]
    limits_text: str
    criticality: str
    method: str
    setup: str
    setup_label: str
    gauge_kinds: tuple[str, ...]
    frequency: str
    second_inspection: bool
    photo: bool
    joint: str
    document_number: str
    document_revision: str
    document_kind: str
    instruction: str
    caution: str
    paired_with: str
    stage_number: int
    stage_id: int
    position: int
    characteristic_id: int
    balloon: Balloon | None = None
    picture: Picture | None = None
    variants: str = ""
    after_weld_hours: int | None = None

    @property
    def when(self) -> str:
        """On which units it is due, in words: "1 in 5, with left or right"."""
        if not self.variants:
            return self.frequency
        return f"{self.frequency}, with {self.variants.replace('; ', ' or ')}".replace("with not ", "without ")

    @property
    def critical(self) -> bool:
        return self.criticality == "critical"

    @property
    def notation(self) -> str:
        """The limits as the drawing writes them, "±0.15"; empty when both were typed as numbers."""
        return self.spec_json.get("notation") or ""

    @property
    def unit_of_measure(self) -> str:
        return self.spec_json.get("unit_of_measure") or ""

    @property
    def mean(self) -> bool:
        """Whether the mean of the readings is judged instead of each of them."""
        return bool(self.spec_json.get("mean"))

    @property
    def temperature_text(self) -> str:
        """What is asked about the part's temperature, in words; empty for nothing."""
        asked = getattr(self.spec, "temperature", None)
        return asked.text if asked else ""

    @property
    def nominal_text(self) -> str:
        """The nominal with the plan's decimals; empty without one."""
        return self._written("nominal")

    @property
    def lower_text(self) -> str:
        """The lower limit with the plan's decimals; empty without one and for a natural boundary."""
        return self._written("lower")

    @property
    def upper_text(self) -> str:
        """The upper limit, as `lower_text`."""
        return self._written("upper")

    def _written(self, name: str) -> str:
        band = getattr(self.spec, "band", None)
        number = getattr(band, name, None)
        if band is None or number is None or name in band.natural:
            return ""
        return written(number, getattr(self.spec, "decimals", 0))

    @property
    def gauge_text(self) -> str:
        """The kinds of gauge in words, any of which may be used."""
        return ", ".join(key.replace("_", " ") for key in self.gauge_kinds)


@dataclass(frozen=True)
class EventCard:
    """Something that happened to a revision; `role` and `meaning` when it was signed."""

    kind: str
    state: str
    state_label: str
    by_id: int
    by_name: str
    at: datetime
    reason: str
    role: str
    meaning: str
    content_digest: str

    @property
    def word(self) -> str:
        """What was done, as a page says it before "by" and a name."""
        return EVENT_WORDS.get(self.kind, self.kind)


@dataclass(frozen=True)
class FamilyPlans:
    """A family with its revisions: the released one, drafts and those in review, and earlier ones."""

    family_code: str
    family_name: str
    released: RevisionCard | None
    coming: tuple[RevisionCard, ...]
    past: tuple[RevisionCard, ...]


@dataclass(frozen=True)
class FieldChange:
    """One field of a checkpoint before and after.

    `effect` says tightened, loosened or moved where limits changed.
    """

    field: str
    before: str
    after: str
    effect: str = ""


@dataclass(frozen=True)
class Difference:
    """What became of one checkpoint: added, removed or changed."""

    change: str
    number: int
    key: str
    title: str
    fields: tuple[FieldChange, ...] = ()

    def to_json(self) -> dict[str, Any]:
        """Plain values, for the audit entry and the API."""
        return asdict(self) | {"fields": [asdict(change) for change in self.fields]}


@dataclass(frozen=True)
class PreReleaseFinding:
    """Something to look at before a release; `key` and `column` lead to the cell. A warning weighs more than advice."""

    code: str
    number: int
    message: str
    key: str = ""
    column: str = ""
    severity: str = "advice"

    @property
    def sentence(self) -> str:
        """The message without the number, which stands beside it as a link."""
        return self.message.removeprefix(f"{self.number} ")


@dataclass(frozen=True)
class Review:
    """What a reviewer looks at: `differences` against `previous`, and who has approved for the engineer."""

    previous: RevisionCard | None
    differences: tuple[Difference, ...]
    needs_engineer: tuple[int, ...]
    approval: EventCard | None
    findings: tuple[PreReleaseFinding, ...]
    means: tuple[int, ...] = ()  # of those, where the mean of the readings counts
    events: tuple[EventCard, ...] = ()
