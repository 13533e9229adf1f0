"""The people who look at trends, and numbers published elsewhere."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from qcapp.trends.queries.watching import forget

VECTORS = Path(__file__).resolve().parent.parent / "vectors"


@pytest.fixture
def published() -> Callable[[str], dict[str, Any]]:
    """`published("imr_nist_flowrate")`: a data set with its source; `numbers` are the published ones with tolerance."""

    def load(name: str) -> dict[str, Any]:
        found: dict[str, Any] = json.loads((VECTORS / f"statistics_{name}.json").read_text(encoding="utf-8"))
        found["numbers"] = {
            one["quantity"]: pytest.approx(one["value"], abs=max(one["tol"], 1e-9))
            for one in found.get("expected", [])
            if one.get("origin", "").startswith("published")
        }
        return found

    return load


@pytest.fixture(autouse=True)
def nothing_kept() -> None:
    """A watch page that another test computed: its rows are gone, and their keys are given again."""
    forget()
