"""Every command of the shell is known here: those that act for a person ask for that person's right, role by role.

The others act for whoever has the shell of the server, which docs/security.md says; each has its reason here.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command, get_commands

from qcapp.people.models import Person
from qcapp.people.queries import may
from qcapp.people.roles import Act, Role
from qcapp.people.services import mark_left

from ..cast import FIXED_NOW, Cast
from ..factories.certificates import release_unit
from ..factories.inspections import PLAN, Workshop
from ..unchanged import unchanged

pytestmark = pytest.mark.django_db
ROOMS = ("plans", "inspections", "certificates", "affected", "people", "nonconformance")
SHELL = {
    "add_person": "the first keeper has nobody to ask",
    "end_second_factor": "a keeper who lost the own one; the audit names the shell",
    "setup": "there is nobody yet",
    "restore": "there is nobody yet",
    "migrate": "tables",
    "demo": "plays the invented workshop into a folder of its own",
    "anonymise_person": "after the period alone, by whoever has the owner's role of the database",
    "retention": "as anonymise_person",
    "export_person": "reads everything about one person; the audit tells of it",
    "make_signing_key": "the passphrase is typed there",
    "move_evidence": "moves files and compares their digests",
    "rebuild_answers": "computes anew what is stored",
    "anchor_audit": "writes the chain's head outside",
    "follow_up": "a timer's: reminders that are due",
    "deliver_messages": "a timer's: e-mail that is due",
    "send_notices": "a timer's: notices that are due",
    "watch_signals": "a service's: signals that are new",
}
READS = {
    "backup", "backup_key", "benchmark", "check_evidence", "export_plan", "judge", "limits", "sample", "take_pictures",
    "verify_audit", "verify_certificate", "write_documents", "write_rights", "write_words",
}  # fmt: skip
FOR_A_PERSON = {
    "import_plan": Act.IMPORT_PLAN,
    "import_results": Act.IMPORT_RESULTS,
    "certificate": Act.ISSUE_CERTIFICATE,
    "affected": Act.KEEP_AFFECTED,
    "name_deputy": Act.KEEP_PEOPLE,
}
Typed = Callable[[str], Any]


@pytest.fixture
def workshop(cast: Cast) -> Workshop:
    for name in cast.parts:
        getattr(cast, name)
    return release_unit(Workshop.opened(cast).finish())


@pytest.fixture
def typed(workshop: Workshop, tmp_path: Path) -> dict[str, Typed]:
    """Each command as somebody types it with `--by` this badge."""
    plan, results = tmp_path / "plan.csv", tmp_path / "results.csv"
    plan.write_text(PLAN, encoding="utf-8")
    results.write_text("serial,checkpoint,answer\n", encoding="utf-8")
    engineer, other = workshop.cast.engineer.badge, workshop.cast.welding_coordinator.badge
    deputy = [engineer, other, "engineer", "2026-03-01", "2099-12-31"]
    return {
        "import_plan": lambda badge: call_command("import_plan", str(plan), "--family", "FR-200", "--by", badge),
        "import_results": lambda badge: call_command("import_results", str(results), "--by", badge),
        "certificate": lambda badge: call_command(
            "certificate", workshop.serial, "--output", str(tmp_path / "c.pdf"), "--by", badge
        ),
        "affected": lambda badge: call_command("affected", "gauge CA-01", "--keep", "a list", "--by", badge),
        "name_deputy": lambda badge: call_command("name_deputy", *deputy, "--by", badge),
    }


def test_knows_every_command() -> None:
    ours = {name for name, app in get_commands().items() if app.startswith("qcapp")}
    assert ours == SHELL.keys() | READS | FOR_A_PERSON.keys()
    assert not SHELL.keys() & READS


@pytest.mark.parametrize("command", list(FOR_A_PERSON))
def test_does_nothing_for_anybody_without_the_right(command: str, typed: dict[str, Typed], cast: Cast) -> None:
    refused = [role for role in Role if not may(cast.with_role(role), FOR_A_PERSON[command], FIXED_NOW)]
    assert refused
    assert len(refused) < len(Role)
    for person in [cast.stranger_to_all_roles, *(cast.with_role(role) for role in refused)]:
        with unchanged(*ROOMS), pytest.raises(CommandError, match="may not"):
            typed[command](person.badge)
    with unchanged(*ROOMS), pytest.raises(CommandError, match="No person has the badge"):
        typed[command]("9999")


@pytest.mark.parametrize("command", list(FOR_A_PERSON))
def test_does_nothing_for_somebody_who_has_left(command: str, typed: dict[str, Typed], cast: Cast) -> None:
    allowed = next(role for role in Role if may(cast.with_role(role), FOR_A_PERSON[command], FIXED_NOW))
    gone: Person = cast.with_role(allowed)
    mark_left(by=cast.second_keeper, person=gone, at=FIXED_NOW)
    with unchanged(*ROOMS), pytest.raises(CommandError):
        typed[command](gone.badge)


@pytest.mark.parametrize("command", list(FOR_A_PERSON))
def test_acts_for_whoever_has_the_right(command: str, typed: dict[str, Typed], cast: Cast, capsys: Any) -> None:
    """Or refuses for another reason than the right, as with a file without rows."""
    allowed = next(role for role in Role if may(cast.with_role(role), FOR_A_PERSON[command], FIXED_NOW))
    said = ""
    try:
        typed[command](cast.with_role(allowed).badge)
    except CommandError as refusal:
        said = str(refusal)
    assert "may not" not in said + "".join(capsys.readouterr())
