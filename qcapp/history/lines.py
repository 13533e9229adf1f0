"""What happened to a unit, line by line: from the audit chain, and for answers and reports from what they say."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any

from qcapp.audit.verbs import Verb

if TYPE_CHECKING:
    from qcapp.audit.queries import EntryRow
    from qcapp.certificates.queries import CertificateCard
    from qcapp.inspections.queries import AnswerView
    from qcapp.nonconformance.cards import MoveCard, ReportCard
    from qcapp.plans.cards import CheckpointCard

Payload = Mapping[str, Any]
FITTED_SENTENCES = {
    "trial_fitted": "{component} trial-fitted",
    "welded_in": "{component} welded in for good",
    "delivered_with": "{component} installed, delivered with the unit",
}
FITTED_IN_SENTENCES = {
    "trial_fitted": "{component} trial-fitted, in {place}",
    "welded_in": "{component} welded in for good, in {place}",
    "delivered_with": "{component} installed, delivered with the unit, in {place}",
}
ANSWER_SENTENCES = {
    "in_band": "{title}: {value}, in band",
    "near_limit": "{title}: {value}, near limit",
    "out_of_band": "{title}: {value}, out of band",
    "conforms": "{title}: {value}, conforms",
    "does_not_conform": "{title}: {value}, does not conform",
    "recorded": "{title}: {value}, recorded",
}
WITHIN_SENTENCES = {
    "in_band": "{title}: {value}, in band, limits {limits}",
    "near_limit": "{title}: {value}, near limit, limits {limits}",
    "out_of_band": "{title}: {value}, out of band, limits {limits}",
}
PURPOSES = {"repeat": "measured again", "correction": "correction"}
PLAIN = frozenset({"in_band", "conforms", "recorded"})  # outcomes that need no line of their own


@dataclass(frozen=True)
class Line:
    """One line of what happened. `outcome` picks the mark, `spec` its limits; `url` leads to the paper behind it."""

    at: datetime
    text: str
    detail: str = ""
    outcome: str = ""
    nearest_limit: str = ""
    kind: str = "attribute"
    spec: Any = None
    url: str = ""
    link: str = ""


# --------------------------------------------------------------------------------------------- the audit chain


def _opened(told: Payload, names: Mapping[str, str]) -> str:
    plan, order, variant = told.get("plan", "?"), told.get("order_number"), told.get("variant")
    if order and variant:
        return f"Opened on plan revision {plan}, order {order}, {variant}"
    if order:
        return f"Opened on plan revision {plan}, order {order}"
    return f"Opened on plan revision {plan}, {variant}" if variant else f"Opened on plan revision {plan}"


def _recorded(told: Payload, names: Mapping[str, str]) -> str:
    count = len(told.get("results", ()))
    return f"{count} answer{'' if count == 1 else 's'} recorded"


def _signed(told: Payload, names: Mapping[str, str]) -> str:
    number = told.get("stage", "?")
    count = told.get("answers", "?")
    name = f" {names[f'stage {number}']}" if f"stage {number}" in names else ""
    return f"Stage {number}{name} signed, {count} answer{'' if count == 1 else 's'} covered"


def _decided(told: Payload, names: Mapping[str, str]) -> str:
    verdict = "accepted" if told.get("accepted") else "not accepted"
    about = str(told.get("about", "")).replace("_", " ")
    return f"{told.get('checkpoint', '?')} {about}: {verdict}. {told.get('reason', '')}"


def _held(told: Payload, names: Mapping[str, str]) -> str:
    return f"Put on hold, {told.get('source', '?')}: {told.get('reason', '')}"


def _lifted(told: Payload, names: Mapping[str, str]) -> str:
    return f"Hold of {told.get('source', '?')} lifted: {told.get('reason', '')}"


def _welded(told: Payload, names: Mapping[str, str]) -> str:
    procedure = f", {told['procedure']}" if told.get("procedure") else ""
    welder = names.get(str(told.get("welder", "")), "a welder")
    return f"{', '.join(told.get('joints', ()))} welded by {welder}{procedure}"


def _scrapped(told: Payload, names: Mapping[str, str]) -> str:
    return f"Scrapped by {told.get('report', 'a report')}"


def _released(told: Payload, names: Mapping[str, str]) -> str:
    return "Released"


def _taken_back(told: Payload, names: Mapping[str, str]) -> str:
    return f"Release withdrawn: {told.get('reason', '')}"


def _marked(told: Payload, names: Mapping[str, str]) -> str:
    kind = {"tag": "Tag", "serial": "Serial", "vin": "VIN"}.get(str(told.get("kind")), "Mark")
    reader = names.get(str(told.get("read_back_by", "")))
    text = told.get("text", "?")
    return f"{kind} {text} stamped, read back by {reader}" if reader else f"{kind} {text} stamped"


def _moved(told: Payload, names: Mapping[str, str]) -> str:
    return f"Moved to {told.get('place', '?')} {told.get('name', '')}"


def _sent_out(told: Payload, names: Mapping[str, str]) -> str:
    what = str(told.get("kind", "a process")).replace("_", " ")
    return f"Sent out for {what} to {told.get('supplier', '?')}"


def _received_back(told: Payload, names: Mapping[str, str]) -> str:
    what = str(told.get("kind", "a process")).replace("_", " ")
    bake = told.get("bake") or {}
    said = f"Received back from {what} on {told.get('delivery', '?')} with its certificate"
    return f"{said}, baked {bake['hours']} h at {bake['temperature']} °C" if bake.get("hours") else said


def _dispatched(told: Payload, names: Mapping[str, str]) -> str:
    certificate = f"certificate {told.get('certificate', '?')} issue {told.get('issue', '?')}"
    return f"Dispatched, order {told.get('order', '?')}, {certificate} handed over"


def _installed(told: Payload, names: Mapping[str, str]) -> str:
    link = str(told.get("link"))
    forms = FITTED_IN_SENTENCES if told.get("place") else FITTED_SENTENCES
    form = forms.get(link, forms["delivered_with"])
    return form.format(component=told.get("component", "?"), place=told.get("place"))


def _removed(told: Payload, names: Mapping[str, str]) -> str:
    return f"{told.get('component', '?')} removed: {told.get('reason', '')}"


def _used(told: Payload, names: Mapping[str, str]) -> str:
    heat = told.get("heat", "?")
    what = f"lot {told['lot']}" if told.get("lot") else f"heat {heat}"
    if count := told.get("quantity"):
        what = f"{count} of lot {told['lot']}" if told.get("lot") else f"{count} of heat {heat}"
    return f"Used {what} for {told['use']}" if told.get("use") else f"Used {what}"


def _served(told: Payload, names: Mapping[str, str]) -> str:
    return f"{str(told.get('kind', 'event')).replace('_', ' ').capitalize()}: {told.get('text', '')}"


def _adopted(told: Payload, names: Mapping[str, str]) -> str:
    return f"Adopted plan revision {told.get('to', '?')}: {told.get('reason', '')}"


def _kept(told: Payload, names: Mapping[str, str]) -> str:
    return f"Stays with its plan, although revision {told.get('to', '?')} is there: {told.get('reason', '')}"


def _applies(told: Payload, names: Mapping[str, str]) -> str:
    verb = "applies again" if told.get("applies") else "does not apply"
    return f"Checkpoint {told.get('checkpoint', '?')} {verb}: {told.get('reason', '')}"


def _witnessed(told: Payload, names: Mapping[str, str]) -> str:
    what = {"asked": "was asked to come", "present": "was present", "waived": "waived attendance"}
    note = f": {told['note']}" if told.get("note") else ""
    said = what.get(str(told.get("what")), "is on record")
    return f"Witness point of stage {told.get('stage', '?')}: {told.get('whom', 'the witness')} {said}{note}"


SENTENCES: Mapping[str, Callable[[Payload, Mapping[str, str]], str]] = {
    Verb.UNIT_OPENED: _opened,
    Verb.RESULTS_RECORDED: _recorded,
    Verb.RESULTS_IMPORTED: _recorded,
    Verb.STAGE_SIGNED: _signed,
    Verb.RESULT_DECIDED: _decided,
    Verb.UNIT_PLAN_ADOPTED: _adopted,
    Verb.UNIT_PLAN_KEPT: _kept,
    Verb.UNIT_CHECKPOINT_APPLICABILITY: _applies,
    Verb.UNIT_WITNESSED: _witnessed,
    Verb.UNIT_HELD: _held,
    Verb.UNIT_HOLD_LIFTED: _lifted,
    Verb.UNIT_WELDED: _welded,
    Verb.UNIT_SCRAPPED: _scrapped,
    Verb.UNIT_MARKED: _marked,
    Verb.UNIT_MOVED: _moved,
    Verb.UNIT_SENT_OUT: _sent_out,
    Verb.UNIT_RECEIVED_BACK: _received_back,
    Verb.UNIT_DISPATCHED: _dispatched,
    Verb.COMPONENT_INSTALLED: _installed,
    Verb.COMPONENT_REMOVED: _removed,
    Verb.MATERIAL_USED: _used,
    Verb.SERVICE_RECORDED: _served,
    Verb.RELEASE_GIVEN: _released,
    Verb.RELEASE_WITHDRAWN: _taken_back,
}
MARKS: Mapping[str, str] = {
    Verb.STAGE_SIGNED: "conforms",
    Verb.RELEASE_GIVEN: "conforms",
    Verb.UNIT_DISPATCHED: "conforms",
    Verb.RELEASE_WITHDRAWN: "does_not_conform",
    Verb.UNIT_SCRAPPED: "does_not_conform",
}


def of_acts(entries: Iterable[EntryRow], names: Mapping[str, str], hidden: Iterable[int]) -> list[Line]:
    """A line for each act on the unit, in the order given. Decisions about `hidden` checkpoints are left out.

    `names` has people by uuid, and stages as "stage 5".
    A payload that was redacted leaves the act with what is still known.
    """
    kept = set(hidden)
    return [
        Line(entry.at, _sentence(entry, names), _by(entry, names), MARKS.get(entry.verb, ""))
        for entry in entries
        if entry.verb != Verb.RESULT_DECIDED or entry.payload.get("checkpoint") not in kept
    ]


def _sentence(entry: EntryRow, names: Mapping[str, str]) -> str:
    known = SENTENCES.get(entry.verb)
    words = entry.verb.replace(".", " ").replace("_", " ").capitalize()
    return known(entry.payload, names).strip() if known else words


def _by(entry: EntryRow, names: Mapping[str, str]) -> str:
    """Who did it, and in which role where the act is signed in one."""
    role = str(entry.payload.get("role", "")).replace("_", " ")
    return " · ".join(part for part in (names.get(entry.actor, ""), role) if part)


def people_in(entries: Iterable[EntryRow]) -> set[str]:
    """The uuids of everybody whom the acts name."""
    named: set[str] = set()
    for entry in entries:
        named |= {entry.actor, *(str(entry.payload.get(key, "")) for key in ("welder", "read_back_by"))}
    return named - {""}


# ---------------------------------------------------------------------------------- answers, reports, certificates


def of_answers(answers: Iterable[tuple[CheckpointCard, AnswerView]]) -> list[Line]:
    """A line for each answer near or out of band, measured again or corrected; the others are counted by the act."""
    return [
        _answer(card, answer) for card, answer in answers if answer.outcome not in PLAIN or answer.purpose in PURPOSES
    ]


def _answer(card: CheckpointCard, answer: AnswerView) -> Line:
    what = f"{PURPOSES[answer.purpose]}: {answer.reason}" if answer.purpose in PURPOSES else ""
    forms = WITHIN_SENTENCES if card.kind in {"measured", "derived", "count"} else ANSWER_SENTENCES
    form = forms.get(answer.outcome, ANSWER_SENTENCES["recorded"])
    parts = [str(card.number), answer.person_name, answer.gauge_number, f"round {answer.round}", what]
    return Line(
        at=answer.recorded_at,
        text=form.format(title=card.title, value=answer.described, limits=card.limits_text),
        detail=" · ".join(part for part in parts if part),
        outcome=answer.outcome,
        nearest_limit=answer.nearest_limit,
        kind=card.kind,
        spec=card.spec,
    )


def of_reports(reports: Iterable[ReportCard], moves: Mapping[int, Iterable[MoveCard]]) -> list[Line]:
    """The raising of each report and every step since."""
    lines = []
    for report in reports:
        paper = {"url": f"/nonconformances/{report.number}/", "link": report.number}
        lines.append(Line(report.raised_at, f"{report.number} raised: {report.title}", report.raised_by_name, **paper))
        for move in moves.get(report.id, ()):
            detail = " · ".join(part for part in (move.by_name, move.note) if part)
            lines.append(Line(move.at, f"{report.number}: {move.label}", detail, **paper))
    return lines


def of_certificates(certificates: Iterable[CertificateCard]) -> list[Line]:
    """Each issue, and its withdrawal."""
    lines = []
    for one in certificates:
        name = f"Certificate {one.number} issue {one.issue}"
        paper = {"url": f"/certificates/{one.number}/{one.issue}.pdf", "link": "PDF"}
        change = f" · {one.change_note}" if one.change_note else ""
        lines.append(Line(one.issued_at, f"{name} issued", f"{one.issued_by_name}{change}", "conforms", **paper))
        if one.withdrawn_at is not None:
            text = f"{name} withdrawn: {one.withdrawn_reason}"
            lines.append(Line(one.withdrawn_at, text, "", "does_not_conform"))
    return lines
