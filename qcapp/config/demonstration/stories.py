"""Which units the demonstration has, how far each one is, and what went wrong on it. All invented."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

FAMILIES = (
    # code, name, serial pattern, certificate prefix, revision
    ("FR-200", "trike frame", "FR-200-{number:4}", "FR", "D"),
    ("AX-200", "rear axle carrier", "AX-200-{number:4}", "AX", "B"),
    ("FK-30", "girder fork", "FK-30-{number:4}", "FK", "C"),
    ("FT-14", "fuel tank", "FT-14-{number:4}", "FT", "B"),
    ("HT-6", "hydraulic tank", "HT-6-{number:4}", "HT", "A"),
    ("TK-200", "cut-tube kit", "TK-200-{number:4}", "TK", "A"),
)


@dataclass(frozen=True)
class Incident:
    """What went wrong at one checkpoint, and how far it has come.

    `until`: open, contained, proposed, decided, in_correction, to_be_verified, closed, withdrawn.
    """

    key: str
    answer: dict[str, Any]
    until: str
    disposition: str = "rework"
    instruction: str = ""
    procedure: str = ""
    also: tuple[str, ...] = ()
    concession_upper: str = ""
    repaired: dict[str, Any] | None = None
    corrected: dict[str, Any] | None = None  # a mistyped value, corrected at once
    action: str = ""
    contained: str = "Frame set aside with a hold tag, the two frames before it looked at again."


@dataclass(frozen=True)
class Story:
    """One unit. `days_ago` when it was opened; `stages` signed; then `partial` answers of the next stage."""

    family: str
    number: int
    days_ago: int
    stages: int = 9
    partial: float = 0.0
    order: str = ""
    released: bool = True
    incidents: tuple[Incident, ...] = ()
    issues: int = 1
    scrapped: bool = False

    @property
    def serial(self) -> str:
        return f"{self.family}-{self.number:04}"


PARALLEL = Incident(
    "axle_parallel", {"value": "0.38"}, "closed", procedure="CS-3", repaired={"value": "0.21"},
    also=("axle_distance", "head_angle", "head_twist", "pivot_offset"),
    instruction="Cold-straighten the left axle plate in the restraint by procedure CS-3, one attempt; "
    "wait overnight, then measure every dimension listed.",
    action="Second clamp added to the axle-plate station of fixture TF-02; the next ten frames are watched.",
)  # fmt: skip
UNDERCUT = Incident(
    "undercut_w3", {"count": 1}, "closed", procedure="WPS-07", repaired={"count": 0}, also=("throat_w5",),
    instruction="Dress and re-weld the undercut at W3 by WPS-07, one attempt, then look at the joint again.",
    action="Talked through with the welder; travel speed on the sheet for W3 made plainer.",
)  # fmt: skip
THICK_COAT = Incident(
    "coating_tubes", {"values": ["96", "104", "128"]}, "closed", disposition="use_as_is", concession_upper="130",
    instruction="Coating 8 µm above the limit on one tube, away from clamps and bearings: "
    "appearance and function unaffected.",
    action="Gun distance marked on the booth floor.",
    contained="Frame set aside; the rest of the batch measured, none above the limit.",
)  # fmt: skip
MISTYPED = Incident(
    "lock_left", {"value": "24.0"}, "withdrawn", corrected={"value": "42.0"},
    instruction="Digits exchanged when typing; the gauge showed 42.0 and the sheet beside it agrees.",
    contained="Measured value looked up on the gauge's display at once.",
)  # fmt: skip


def _running(until: str, key: str, value: str) -> Incident:
    plan = PARALLEL.instruction
    return Incident(key, {"value": value}, until, procedure="CS-3", instruction=plan, also=PARALLEL.also)


def _parallel(until: str, value: str) -> Incident:
    return _running(until, "axle_parallel", value)


FRAMES = (
    Story("FR-200", 128, 58, order="S-1161"),
    Story("FR-200", 129, 56, order="S-1162"),
    Story("FR-200", 130, 54, order="S-1164"),
    Story("FR-200", 131, 51, order="S-1165", incidents=(PARALLEL,)),
    Story("FR-200", 132, 49, order="S-1166"),
    Story("FR-200", 133, 47, order="S-1167", issues=2),
    Story("FR-200", 134, 44, order="S-1169", incidents=(THICK_COAT,)),
    Story("FR-200", 135, 42, order="S-1170"),
    Story("FR-200", 136, 40, order="S-1172", incidents=(UNDERCUT,)),
    Story("FR-200", 137, 37, order="S-1173"),
    Story("FR-200", 138, 35, order="S-1174", incidents=(MISTYPED,)),
    Story("FR-200", 139, 33, order="S-1175"),
    Story("FR-200", 140, 28, order="S-1177", released=False),
    Story("FR-200", 141, 24, order="S-1178", stages=7, partial=0.5),
    Story("FR-200", 142, 20, order="S-1179", stages=6, partial=0.6),
    Story("FR-200", 143, 17, order="S-1180", stages=5, incidents=(_parallel("in_correction", "0.36"),)),
    Story("FR-200", 144, 14, order="S-1181", stages=5, incidents=(_parallel("to_be_verified", "0.35"),)),
    Story("FR-200", 145, 12, order="S-1182", stages=5, incidents=(_running("contained", "head_angle", "62.19"),)),
    Story("FR-200", 146, 9, order="S-1183", stages=5, incidents=(_parallel("decided", "0.34"),)),
    Story("FR-200", 147, 6, order="S-1184", stages=4, partial=0.6, incidents=(_parallel("open", "0.38"),)),
    Story("FR-200", 148, 4, order="S-1186", stages=2, partial=0.4),
    Story("FR-200", 149, 1, order="S-1187", stages=0, partial=0.7),
)  # fmt: skip

SCRAPPED = Incident(
    "", {}, "closed", disposition="scrap",
    instruction="Bore torn at the last pass, wall below the minimum: cannot be saved.",
    action="Feed of the last pass halved; first part of each setting is measured.",
    contained="Part marked red and put into the locked cage.",
)  # fmt: skip

SCRAP, FOR_SALE = ("AX-200", 4), ("FT-14", 3)  # the second goes into no frame: dispatch hands it over by itself
PARTS = tuple(
    Story(
        family, first + i, 50 - 6 * i, order=f"S-{1160 + 3 * i}", released=i < 3 or (family, i) == FOR_SALE,
        stages=1 if (family, i) == SCRAP else 9, scrapped=(family, i) == SCRAP,
    )
    for family, first in (("AX-200", 90), ("FK-30", 90), ("FT-14", 90), ("HT-6", 90))
    for i in range(5)
)  # fmt: skip
FITTED = tuple(story for story in PARTS if story.released and not story.scrapped)  # before the frames they go into
UNITS = (*FITTED, *FRAMES, *(story for story in PARTS if story not in FITTED))

# False plays the units above and nothing around them: for tests that need some units quickly.
ALL_TOLD = True
