"""The invented drawing of the trike frame, ballooned for its plan, with its joints."""

from __future__ import annotations

import csv
from datetime import datetime
from typing import TYPE_CHECKING, Any

from qcapp.plans.cards import RevisionCard
from qcapp.plans.queries.marks import sheets_of
from qcapp.plans.services.drawings import add_sheets, place_balloon
from qcapp.plans.services.weld_maps import place_joint

from .cast import FIXTURES

if TYPE_CHECKING:
    from qcapp.people.models import Person

FOLDER = FIXTURES / "drawings"
SHEETS = (("FR-200-side.svg", "Side view"), ("FR-200-top.svg", "Top view"), ("FR-200-assembly.svg", "Trial assembly"))


def balloon_frame(by: Person, card: RevisionCard, at: datetime) -> None:
    """Adds the sheets to the draft of FR-200 and sets a balloon for each of its checkpoints."""
    known: dict[str, Any] = {"by": by, "revision_uuid": card.uuid, "at": at}
    sheets = [
        add_sheets(
            number="AQ-FR200-05", document_revision="C", sheet=number, title=title, name=name,
            content=(FOLDER / name).read_bytes(), **known,
        ).cards[0]
        for number, (name, title) in enumerate(SHEETS, start=1)
    ]  # fmt: skip
    with (FOLDER / "FR-200-balloons.csv").open(newline="") as file:
        for row in csv.DictReader(file):
            sheet = sheets[int(row["sheet"]) - 1]
            across, down = int(row["across"]), int(row["down"])
            place_balloon(key=row["key"], sheet_uuid=sheet.uuid, across=across, down=down, **known)


def mark_joints(by: Person, card: RevisionCard, at: datetime) -> None:
    """Places the joints of the released plan of FR-200 on its sheets."""
    sheets = sheets_of(card.id)
    with (FOLDER / "FR-200-joints.csv").open(newline="") as file:
        for row in csv.DictReader(file):
            place_joint(
                by=by, revision_uuid=card.uuid, joint=row["joint"], sheet_uuid=sheets[int(row["sheet"]) - 1].uuid,
                across=int(row["across"]), down=int(row["down"]), at=at,
            )  # fmt: skip
