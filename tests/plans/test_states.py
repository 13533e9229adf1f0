"""The states of a plan revision: the diagram in the documents is drawn from the table."""

from __future__ import annotations

from pathlib import Path

from qcapp.core.workflow import mermaid
from qcapp.plans.states import REVISION_STATES

DIAGRAM = Path(__file__).resolve().parents[2] / "docs" / "diagrams" / "plan-states.md"


def test_keeps_the_diagram_of_the_documents_current() -> None:
    assert mermaid(REVISION_STATES) in DIAGRAM.read_text(encoding="utf-8")
