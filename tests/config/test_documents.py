"""The data model and the sources of the numbers in docs/ are those of the code."""

from __future__ import annotations

from pathlib import Path

import pytest
from django.apps import apps
from django.core.management import CommandError, call_command
from pytest_django import Settings

from qcapp.config.documents import DRAWN


def test_is_current() -> None:
    call_command("write_documents", "--check")


@pytest.mark.parametrize("name", list(DRAWN))
def test_notices_a_document_that_is_not(settings: Settings, tmp_path: Path, name: str) -> None:
    settings.BASE_DIR = tmp_path
    (tmp_path / "docs").mkdir()
    call_command("write_documents")
    call_command("write_documents", "--check")
    with (tmp_path / "docs" / name).open("a") as file:
        file.write("x")
    with pytest.raises(CommandError, match="not current"):
        call_command("write_documents", "--check")


def test_has_every_table_of_the_rooms() -> None:
    text = DRAWN["data-model.md"]()
    ours = [model for model in apps.get_models() if model.__module__.startswith("qcapp.")]
    assert len(ours) > 100
    assert [model._meta.db_table for model in ours if f"`{model._meta.db_table}`." not in text] == []
    assert "### Result – **written once**" in text


def test_has_the_formulas_that_verdicts_rest_on() -> None:
    text = DRAWN["numbers.md"]()
    for word in ("`judge`", "ISO 22514-2", "capability", "uncertainty", "common practice, no source"):
        assert word in text
