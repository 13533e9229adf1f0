"""The worked numbers in tests/vectors, with their sources; numbers stay text so that no digit is lost."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

FOLDER = Path(__file__).resolve().parents[2] / "vectors"


def load(name: str) -> Any:
    return json.loads((FOLDER / name).read_text(encoding="utf-8"))
