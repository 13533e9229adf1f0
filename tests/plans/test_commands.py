"""Plans from the shell."""

from __future__ import annotations

import pytest
from django.core.management import CommandError, call_command

from qcapp.plans import queries
from tests.factories.gauges import every_gauge_kind
from tests.factories.plans import FR200, draft, plan_text, released
from tests.factories.production import FamilyFactory
from tests.unchanged import rows_of


@pytest.fixture
def badge(cast):
    FamilyFactory()
    every_gauge_kind()
    return cast.quality_manager.badge


def test_imports_a_file_and_says_so(badge, capsys):
    call_command("import_plan", str(FR200), family="FR-200", revision="D", by=badge)
    assert capsys.readouterr().out == "FR-200 revision D is a draft with 164 checkpoints.\n"
    assert queries.revision_of("FR-200", "D").author_name == "Isolde Brandt"


def test_takes_the_next_letter_when_none_is_given(badge, capsys):
    for letter in "AB":
        call_command("import_plan", str(FR200), family="FR-200", by=badge)
        assert f"revision {letter} is a draft" in capsys.readouterr().out


def test_prints_every_finding_and_imports_nothing(badge, tmp_path, capsys):
    file = tmp_path / "plan.csv"
    file.write_text(plan_text({"nominal": "x", "joint": "y"}), encoding="utf-8")
    before = rows_of("plans")
    with pytest.raises(CommandError, match="The plan file has 2 errors; nothing was imported"):
        call_command("import_plan", str(file), family="FR-200", by=badge)
    printed = capsys.readouterr().err.splitlines()
    assert [line.partition(":")[0] for line in printed] == ["line 2, joint", "line 2, nominal"]
    assert rows_of("plans") == before


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ({"family": "ZZ-9"}, "There is no part family ZZ-9"),
        ({"by": "9999"}, "No person has the badge"),
        ({"file": "nowhere.csv"}, "nowhere.csv cannot be read"),
    ],
)
def test_says_what_is_wrong_in_a_sentence(badge, options, message):
    options = {"file": str(FR200), "family": "FR-200", "by": badge} | options
    before = rows_of("plans")
    with pytest.raises(CommandError, match=message):
        call_command("import_plan", options.pop("file"), **options)
    assert rows_of("plans") == before


def test_exports_the_released_revision_or_the_one_named(cast, proof_of, fixed_now, tmp_path):
    card = released(cast, proof_of, fixed_now)
    draft(cast, fixed_now, plan_text({"key": "other", "number": "999"}), letter="B")
    first, second, again = (tmp_path / name for name in ("a.csv", "b.csv", "again.csv"))
    call_command("export_plan", "FR-200", output=first)
    call_command("export_plan", "FR-200", revision="B", output=second)
    assert (first.read_text("utf-8-sig").count("\n"), second.read_text("utf-8-sig").count("\n")) == (165, 2)
    call_command("import_plan", str(first), family="FR-200", revision="C", by=cast.quality_manager.badge, note="next")
    assert queries.content_digest(queries.revision_of("FR-200", "C").id) == queries.content_digest(card.id)
    call_command("export_plan", "FR-200", revision="C", output=again)
    assert again.read_bytes() == first.read_bytes()


def test_exports_nothing_when_there_is_nothing_or_no_place(cast, proof_of, fixed_now, tmp_path):
    FamilyFactory()
    file = tmp_path / "plan.csv"
    with pytest.raises(CommandError, match="has no released inspection plan"):
        call_command("export_plan", "FR-200", output=file)
    assert not file.exists()
    released(cast, proof_of, fixed_now, plan_text())
    with pytest.raises(CommandError, match="cannot be written"):
        call_command("export_plan", "FR-200", output=tmp_path / "no folder" / "plan.csv")
