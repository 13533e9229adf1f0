"""Who is told what when a report moves. The messages are written with the step itself and sent elsewhere.

A message says where something was found, not what: its receiver may still owe the second inspection.
"""

from __future__ import annotations

import json
from typing import Any

from django.db.models.signals import post_save
from django.urls import reverse

from qcapp.messages.kinds import Kind
from qcapp.messages.services import tell
from qcapp.people.roles import Role

from .states import NEEDS_CORRECTION, Disposition

QUALITY = (Role.QUALITY_MANAGER,)
CORRECTORS = (Role.WELDER, Role.WELDING_COORDINATOR)
VERIFIERS = (Role.QUALITY_MANAGER, Role.INSPECTOR)
WITHDRAWERS = (Role.QUALITY_MANAGER, Role.ENGINEER)
# A step of a report: to whom, what kind, the subject and the sentence.
STEPS: dict[str, tuple[tuple[Role, ...], Kind, str, str]] = {
    "finish_correction": (
        VERIFIERS, Kind.VERIFICATION_DUE, "{number}: correction to be verified",
        "{by} finished the correction of {serial}. The checkpoints named in the report are inspected again, by "
        "another person, before it is closed.",
    ),
    "fail_verification": (
        QUALITY, Kind.DECISION_WAITING, "{number}: the correction failed, decide again",
        "The correction of {serial} did not bring it into band; the report waits for a new disposition.",
    ),
    "withdrawal_signed": (
        WITHDRAWERS, Kind.DECISION_WAITING, "{number}: withdrawal waits for a second signature",
        "{by} signed that the report on {serial} was raised in error. Another person signs, or leaves it standing.",
    ),
}  # fmt: skip
TO_CORRECT = "{disposition} of {serial} was decided. The instruction stands in the report."


def connect() -> None:
    """Listen to steps and proposals of dispositions; a report that is raised tells by itself."""
    for listener, table in ((_stepped, "Move"), (_proposed, "DispositionProposal")):
        uid = f"nonconformance.{table.lower()}.told"
        post_save.connect(listener, sender=f"nonconformance.{table}", dispatch_uid=uid)


def tell_raised(report: Any, facts: dict[str, Any], by: Any) -> None:
    """Tell the quality manager of a report that was just raised by `by`."""
    severity, number, title = report.severity.capitalize(), facts.get("number"), facts.get("title")
    text = f"{severity}, found at checkpoint {number} {title}. Contain it and decide."
    if "number" not in facts:
        text = f"{severity}; no checkpoint asks about it. Contain it and decide."
    tell(
        to=Role.QUALITY_MANAGER, kind=Kind.REPORT_RAISED, subject=f"{report.number} raised on {_named(facts)}",
        text=text, key=f"{report.number} raised", leave_out=by, **_where(report, report.raised_at),
    )  # fmt: skip


def _stepped(sender: object, instance: Any, created: bool, **kwargs: Any) -> None:
    report = instance.report
    words = {"number": report.number, "serial": _serial(report), "by": instance.by.name}
    if instance.name in STEPS:
        roles, kind, subject, text = STEPS[instance.name]
    elif instance.name == "decide" and (disposition := _decided(report)) in NEEDS_CORRECTION:
        roles, kind = CORRECTORS, Kind.CORRECTION_DUE
        subject, text = "{number}: {disposition} to be done", TO_CORRECT
        words["disposition"] = Disposition(disposition).label.capitalize()
    else:
        return
    for role in roles:
        tell(
            to=role, kind=kind, subject=subject.format(**words), text=text.format(**words),
            key=f"{report.number} {instance.name} {instance.pk}", leave_out=instance.by, **_where(report, instance.at),
        )  # fmt: skip


def _proposed(sender: object, instance: Any, created: bool, **kwargs: Any) -> None:
    label = Disposition(instance.disposition).label
    report = instance.report
    for role in instance.roles:
        tell(
            to=Role(role), kind=Kind.DECISION_WAITING, subject=f"{report.number}: {label} waits for your signature",
            text=f"{instance.by.name} proposes {label} of {_serial(report)}; the {Role(role).label} signs it.",
            key=f"{report.number} proposal {instance.pk}", leave_out=instance.by, **_where(report, instance.at),
        )  # fmt: skip


def _decided(report: Any) -> str:
    """The disposition that was just signed by all: the one proposed last."""
    return str(report.proposals.order_by("-id").values_list("disposition", flat=True).first() or "")


def _serial(report: Any) -> str:
    return _named(json.loads(report.facts))


def _named(facts: dict[str, Any]) -> str:
    """The unit, or what the lot is called on its label; no report may fail for want of a name."""
    return str(facts.get("serial") or facts.get("lot") or "a lot")


def _where(report: Any, at: Any) -> dict[str, Any]:
    link = reverse("nonconformance:report", kwargs={"number": report.number})
    return {"at": at, "link": link, "about": f"report {report.number}"}
