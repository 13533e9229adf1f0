"""What messages are about. Each person chooses for which of these they want e-mail as well."""

from __future__ import annotations

from enum import StrEnum


class Kind(StrEnum):
    REPORT_RAISED = "report_raised"
    DECISION_WAITING = "decision_waiting"
    CORRECTION_DUE = "correction_due"
    VERIFICATION_DUE = "verification_due"
    ACTION_PROPOSED = "action_proposed"
    REMINDER = "reminder"
    RELEASE_REFUSED = "release_refused"
    TREND_SIGNAL = "trend_signal"
    OTHER = "other"

    @property
    def label(self) -> str:
        return LABELS[self]


LABELS = {
    Kind.REPORT_RAISED: "a nonconformance report is raised",
    Kind.DECISION_WAITING: "a decision waits for my signature",
    Kind.CORRECTION_DUE: "a correction is due",
    Kind.VERIFICATION_DUE: "a correction is to be verified",
    Kind.ACTION_PROPOSED: "a corrective action is proposed or given to me",
    Kind.REMINDER: "something of mine is due soon or late",
    Kind.RELEASE_REFUSED: "a release was refused",
    Kind.TREND_SIGNAL: "a chart signals",
    Kind.OTHER: "anything else",
}
