"""The acts that the audit chain knows. Grammar: subject, a dot, what was done to it in the past tense.

One act is one entry: a submission of 160 results is one act. Edits of a draft cell are not acts; the released
difference is. A refusal of a signature is an act of its own, written in a transaction of its own.
"""

from __future__ import annotations

from enum import StrEnum


class Verb(StrEnum):
    SITE_SET_UP = "site.set_up"
    SITE_RESTORED = "site.restored"

    PERSON_ADDED = "person.added"
    PERSON_CHANGED = "person.changed"
    PERSON_ROLE_GIVEN = "person.role_given"
    PERSON_ROLE_ENDED = "person.role_ended"
    PERSON_SECRET_SET = "person.secret_set"  # noqa: S105 - a verb, not a secret
    PERSON_DEPUTY_NAMED = "person.deputy_named"
    PERSON_DEPUTY_ENDED = "person.deputy_ended"
    PERSON_LEFT = "person.left"
    SIGNATURE_REFUSED = "signature.refused"
    SIGN_IN_REFUSED = "sign_in.refused"

    GAUGE_ADDED = "gauge.added"
    GAUGE_CALIBRATED = "gauge.calibrated"
    GAUGE_TAKEN_OUT_OF_USE = "gauge.taken_out_of_use"
    GAUGE_PUT_BACK_IN_USE = "gauge.put_back_in_use"

    FAMILY_ADDED = "family.added"
    UNIT_OPENED = "unit.opened"
    UNIT_HELD = "unit.held"
    UNIT_HOLD_LIFTED = "unit.hold_lifted"
    UNIT_WELDED = "unit.welded"
    UNIT_SCRAPPED = "unit.scrapped"

    PLAN_IMPORTED = "plan.imported"
    PLAN_REVISED = "plan.revised"
    PLAN_DISCARDED = "plan.discarded"
    PLAN_SENT_FOR_REVIEW = "plan.sent_for_review"
    PLAN_RETURNED = "plan.returned"
    PLAN_APPROVED = "plan.approved"
    PLAN_RELEASED = "plan.released"
    PLAN_WITHDRAWN = "plan.withdrawn"

    RESULTS_RECORDED = "results.recorded"
    RESULTS_IMPORTED = "results.imported"
    RESULT_DECIDED = "result.decided"
    STAGE_SIGNED = "stage.signed"
    CHECKPOINTS_REOPENED = "checkpoints.reopened"

    REPORT_RAISED = "report.raised"
    REPORT_CONTAINED = "report.contained"
    REPORT_DISPOSITION_PROPOSED = "report.disposition_proposed"
    REPORT_DISPOSITION_SIGNED = "report.disposition_signed"
    REPORT_DECIDED = "report.decided"
    REPORT_CORRECTION_STARTED = "report.correction_started"
    REPORT_CORRECTED = "report.corrected"
    REPORT_CORRECTION_FAILED = "report.correction_failed"
    REPORT_CLOSED = "report.closed"
    REPORT_WITHDRAWAL_SIGNED = "report.withdrawal_signed"
    REPORT_WITHDRAWN = "report.withdrawn"

    RELEASE_GIVEN = "release.given"
    RELEASE_WITHDRAWN = "release.withdrawn"
    SIGNING_KEY_ADDED = "signing_key.added"
    CERTIFICATE_ISSUED = "certificate.issued"
    PAPER_CHOSEN = "paper.chosen"
    CERTIFICATES_ASKED_FOR = "certificates.asked_for"
    CERTIFICATE_WITHDRAWN = "certificate.withdrawn"
