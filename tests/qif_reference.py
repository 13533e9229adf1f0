"""Where the standard's QIF 3.0 schema and sample files lie; the project does not contain them."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

BESIDE = Path(__file__).resolve().parent.parent.parent / "shared" / "reference" / "qif-3.0"


def qif_reference() -> Path:
    """The folder with `schema` and `samples`; skips the test where nobody has put one."""
    folder = Path(os.environ.get("QCAPP_TEST_QIF_SCHEMAS") or BESIDE)
    if not (folder / "schema" / "QIFDocument.xsd").is_file():
        pytest.skip("the QIF 3.0 schema is not here: name its folder in QCAPP_TEST_QIF_SCHEMAS (docs/results-file.md)")
    return folder
