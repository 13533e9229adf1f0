"""The words for where a checkpoint, an answer and a stage stand. Plain Python."""

from __future__ import annotations

from enum import StrEnum


class Flag(StrEnum):
    """Why a stored result does not count as proof until somebody decided on it."""

    GAUGE_OVERDUE = "gauge_overdue"
    GAUGE_FAILED = "gauge_failed"
    GAUGE_OUT_OF_USE = "gauge_out_of_use"
    GAUGE_RETIRED = "gauge_retired"
    GAUGE_NEVER_CALIBRATED = "gauge_never_calibrated"
    SETUP_CHECK_MISSING = "setup_check_missing"
    SETUP_CHECK_FAILED = "setup_check_failed"
    GAUGE_MISSING = "gauge_missing"
    GAUGE_KIND_DIFFERS = "gauge_kind_differs"
    GAUGE_OUT_OF_RANGE = "gauge_out_of_range"
    FIXTURE_NOT_VERIFIED = "fixture_not_verified"
    NOT_AUTHORISED = "not_authorised"
    STAGE_NOT_OPEN = "stage_not_open"
    OLD_REVISION = "old_revision"
    TOO_SOON_AFTER_WELD = "too_soon_after_weld"
    SERIAL_DIFFERS = "serial_differs"
    CLOCK_OFF = "clock_off"
    SENT_BY_OTHER = "sent_by_other"
    KEYED_FROM_PAPER = "keyed_from_paper"

    @property
    def sentence(self) -> str:
        """What is wrong, in words for the floor and for the release checks."""
        return FLAG_SENTENCES[self]


FLAG_SENTENCES: dict[Flag, str] = {
    Flag.GAUGE_OVERDUE: "The gauge was past its calibration date.",
    Flag.GAUGE_FAILED: "The gauge had failed its calibration.",
    Flag.GAUGE_OUT_OF_USE: "The gauge was out of use.",
    Flag.GAUGE_RETIRED: "The gauge was retired.",
    Flag.GAUGE_NEVER_CALIBRATED: "The gauge had never been calibrated.",
    Flag.SETUP_CHECK_MISSING: "The gauge was not checked on its setting master before.",
    Flag.SETUP_CHECK_FAILED: "The gauge had failed on its setting master.",
    Flag.GAUGE_MISSING: "The plan asks for a gauge and none was named.",
    Flag.GAUGE_KIND_DIFFERS: "The gauge is not of a kind that the plan asks for.",
    Flag.GAUGE_OUT_OF_RANGE: "The value lies outside the gauge's measuring range.",
    Flag.FIXTURE_NOT_VERIFIED: "The fixture that the unit is in was not verified on that day.",
    Flag.NOT_AUTHORISED: "The inspector was not authorised for the method that day, or the eyesight check had run out.",
    Flag.STAGE_NOT_OPEN: "The stage was not open yet: an earlier stage was unsigned, or the unit was on hold.",
    Flag.OLD_REVISION: "It answers a plan revision that this unit is not inspected to.",
    Flag.TOO_SOON_AFTER_WELD: "It was inspected before the plan's time after welding had passed, or nobody wrote down "
    "when the joint was welded.",
    Flag.SERIAL_DIFFERS: "The serial that was read on the part is not the unit's.",
    Flag.CLOCK_OFF: "The tablet's clock was more than 15 minutes off.",
    Flag.SENT_BY_OTHER: "It was sent under another person's login.",
    Flag.KEYED_FROM_PAPER: "It was keyed in from paper, and nobody else has held it against the sheet.",
}

NEAR_LIMIT = "near_limit"  # the other thing that is decided about a result
# What was keyed from paper is not decided but checked against the sheet, by services.keying.
DECIDABLE = frozenset({NEAR_LIMIT, *(flag.value for flag in Flag)} - {Flag.KEYED_FROM_PAPER.value})


class CheckpointState(StrEnum):
    """Where one checkpoint of one item stands in its current round."""

    OPEN = "open"
    ANSWERED = "answered"
    NOT_DUE = "not_due"
    IN_CONFLICT = "in_conflict"

    @property
    def label(self) -> str:
        return self.value.replace("_", " ")


class StageState(StrEnum):
    """Where one stage of one item stands. Held: a hold stands against signing it."""

    OPEN = "open"
    COMPLETE = "complete"
    SIGNED = "signed"
    CHANGED_SINCE_SIGNED = "changed_since_signed"
    HELD = "held"

    @property
    def label(self) -> str:
        return self.value.replace("_", " ")
