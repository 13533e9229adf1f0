"""The commands of the shell: people, deputies, the table of rights."""

from __future__ import annotations

from pathlib import Path

import pytest
from django.core.management import CommandError, call_command
from pytest_django import Settings

from qcapp.audit.queries import entries_about, head
from qcapp.people import queries
from qcapp.people.models import Deputy, Person
from qcapp.people.rights_table import addresses, as_markdown
from qcapp.people.roles import Act, Role
from tests.cast import FIXED_NOW, Cast

PASSWORD = "seven loose hinges"


def typed(monkeypatch: pytest.MonkeyPatch, *lines: str) -> None:
    answers = iter(lines)
    monkeypatch.setattr("getpass.getpass", lambda prompt: next(answers))


@pytest.mark.django_db
def test_adds_the_first_keeper(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    typed(monkeypatch, PASSWORD, PASSWORD)
    call_command("add_person", "2001", "Florian Beck-Amsel", "FB", "--role", "keeper", "--role", "metrology")
    person = queries.person_by_badge("2001")
    assert person.check_password(PASSWORD)
    assert not person.password_is_temporary
    assert {row.role for row in queries.role_rows(person)} == {Role.KEEPER, Role.METROLOGY}
    assert PASSWORD not in capsys.readouterr().out
    assert [entry.actor for entry in entries_about("person 2001")] == [""] * 4


@pytest.mark.django_db
@pytest.mark.parametrize("second", ["seven loose hinge", ""])
def test_adds_nobody_when_the_passwords_differ(monkeypatch: pytest.MonkeyPatch, second: str) -> None:
    typed(monkeypatch, PASSWORD, second)
    with pytest.raises(CommandError, match="differ"):
        call_command("add_person", "2001", "Florian Beck-Amsel", "FB")
    assert not Person.objects.exists()


@pytest.mark.django_db
def test_adds_nobody_with_a_weak_password(monkeypatch: pytest.MonkeyPatch) -> None:
    typed(monkeypatch, "short", "short")
    with pytest.raises(CommandError, match="too short"):
        call_command("add_person", "2001", "Florian Beck-Amsel", "FB", "--role", "keeper")
    assert not Person.objects.exists()
    assert head().number == 0


def test_names_a_deputy(cast: Cast, capsys: pytest.CaptureFixture[str]) -> None:
    keeper, engineer, stand_in = cast.keeper, cast.engineer, cast.welding_coordinator
    call_command(
        "name_deputy",
        engineer.badge,
        stand_in.badge,
        "engineer",
        "2026-03-01",
        "2099-12-31",
        "--by",
        keeper.badge,
    )
    assert f"{stand_in.name} stands in for {engineer.name}" in capsys.readouterr().out
    assert queries.may(stand_in, Act.APPROVE_PLAN, FIXED_NOW)


def test_names_no_deputy_for_somebody_who_is_no_keeper(cast: Cast) -> None:
    arguments = [cast.engineer.badge, cast.welding_coordinator.badge, "engineer", "2026-03-01", "2099-12-31"]
    with pytest.raises(CommandError, match="may not"):
        call_command("name_deputy", *arguments, "--by", cast.welder.badge)
    with pytest.raises(CommandError, match="No person has the badge"):
        call_command("name_deputy", *arguments, "--by", "9999")
    assert not Deputy.objects.exists()


def test_writes_every_act_and_address_into_the_table() -> None:
    text = as_markdown()
    for act in Act:
        assert text.count(f"| {act.value} |") >= 1
    assert "| `/people/<uuid>/roles/` | add people, give roles, name deputies |" in text
    assert "| `/sign-in/` | everybody | everybody |" in text
    assert "| `/account/` | whoever has signed in | whoever has signed in |" in text


def test_says_for_every_own_address_what_it_asks_for() -> None:
    own = [address for address in addresses() if address.view.__module__.startswith("qcapp.people")]
    assert len(own) == 33
    assert all(set(address.acts) == {"GET", "POST"} for address in own)


def test_notices_a_table_that_is_not_current(settings: Settings, tmp_path: Path) -> None:
    settings.BASE_DIR = tmp_path
    with pytest.raises(CommandError, match="write_rights"):
        call_command("write_rights", "--check")
    call_command("write_rights")
    call_command("write_rights", "--check")
    written = tmp_path / "docs" / "rights.md"
    written.write_text(written.read_text().replace("×", "", 1))
    with pytest.raises(CommandError, match="not current"):
        call_command("write_rights", "--check")
