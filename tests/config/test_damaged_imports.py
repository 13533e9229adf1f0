"""Every import, fed with files damaged at random, takes them or refuses with a code: nothing else ever comes out.

Plan files (CSV and XLSX), results (CSV and QIF 3.0), what is typed from a mill certificate, pictures and PDFs. The
undamaged ones are taken, so that the damage is done to something that reaches the inner parts.
"""

from __future__ import annotations

import io
import re
from collections.abc import Callable
from functools import lru_cache
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from qcapp.core.errors import QcError
from qcapp.evidence.services.reading import document_of, picture_of
from qcapp.goods.reading import PROPERTIES, read_composition, read_properties
from qcapp.inspections.services.qif_file import read_qif
from qcapp.inspections.services.results_file import read_results
from qcapp.plans.drawing_files import read_drawing
from qcapp.plans.plan_rules import Numbering, read_plan
from tests.evidence.files import pdf, picture

REPOSITORY = Path(__file__).resolve().parents[2]
CODE = re.compile(r"[a-z][a-z0-9_]+")
RESULTS = (
    b"serial,checkpoint,value,gauge,recorded_at,badge\r\n"
    b"FR-200-0147,501,23.95 deg,PR-003,2026-03-17T09:30:00+01:00,1001\r\n"
)
# Cells and bytes that have broken readers elsewhere.
NASTY = st.sampled_from(
    [
        "",
        "\0",
        "=1+1",
        "@x",
        "1e999",
        "-0",
        "NaN",
        "∞",
        "\ud7ff",
        "9" * 400,
        "1,2,3",
        "١٢",
        "‮",
        '"',
        "\n",
        ";",
        "%",
        "\t0",
    ]
)
CELLS = st.one_of(NASTY, st.text(max_size=30))
SLOW = settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])


@lru_cache(maxsize=1)
def plan_csv() -> bytes:
    """A plan of the demonstration."""
    return max((REPOSITORY / "fixtures" / "plans").glob("*.csv"), key=lambda file: file.stat().st_size).read_bytes()


@lru_cache(maxsize=1)
def plan_xlsx() -> bytes:
    """The first rows of the same as a workbook."""
    book = openpyxl.Workbook()
    for line in plan_csv().decode().splitlines()[:6]:
        book.active.append(line.split(","))
    written = io.BytesIO()
    book.save(written)
    return written.getvalue()


@lru_cache(maxsize=1)
def qif() -> bytes:
    """A small document of a measuring machine."""
    return (
        b'<?xml version="1.0"?><QIFDocument xmlns="http://qifstandards.org/xsd/qif3"><Results>'
        b"<MeasurementResultsSet><MeasurementResults><MeasuredCharacteristics><CharacteristicMeasurements>"
        b"<LinearCharacteristicMeasurement id='7'><Value>12.5</Value></LinearCharacteristicMeasurement>"
        b"</CharacteristicMeasurements></MeasuredCharacteristics></MeasurementResults></MeasurementResultsSet>"
        b"</Results></QIFDocument>"
    )


def a_plan(content: bytes) -> object:
    return read_plan(content, gauge_kinds={"caliper"}, numbering=Numbering())


WHOLE: dict[str, tuple[Callable[[], bytes], Callable[[bytes], object]]] = {
    "plan csv": (plan_csv, a_plan),
    "plan xlsx": (plan_xlsx, a_plan),
    "results csv": (lambda: RESULTS, lambda content: read_results(io.BytesIO(content))),
    "results qif": (qif, lambda content: read_qif(content, badge="1001")),
    "picture jpeg": (lambda: picture("JPEG"), picture_of),
    "picture png": (lambda: picture("PNG"), picture_of),
    "picture webp": (lambda: picture("WEBP"), picture_of),
    "pdf": (lambda: pdf(1), document_of),
    "drawing": (
        lambda: b'<svg xmlns="http://www.w3.org/2000/svg" width="9" height="9"><path d="M0 0L9 9"/></svg>',
        read_drawing,
    ),
}


def met(read: Callable[[Any], object], given_: object) -> str:
    """ "taken", or the code of the refusal."""
    try:
        read(given_)
    except QcError as error:
        refusal = error
    else:
        return "taken"
    assert CODE.fullmatch(refusal.code)
    assert refusal.message
    return refusal.code


@pytest.mark.parametrize("kind", list(WHOLE))
@SLOW
@given(data=st.data())
def test_takes_or_refuses_a_damaged_file(kind: str, data: st.DataObject) -> None:
    make, read = WHOLE[kind]
    content = bytearray(make())
    for _ in range(data.draw(st.integers(1, 4))):
        place = data.draw(st.integers(0, len(content)))
        noise = data.draw(st.one_of(st.binary(max_size=12), NASTY.map(lambda text: text.encode("utf-8", "replace"))))
        gone = data.draw(st.integers(0, 40))
        content[place : place + gone] = noise
    met(read, bytes(content))


@pytest.mark.parametrize("kind", list(WHOLE))
@SLOW
@given(content=st.binary(max_size=300))
def test_takes_or_refuses_any_bytes(kind: str, content: bytes) -> None:
    met(WHOLE[kind][1], content)


@pytest.mark.parametrize("kind", list(WHOLE))
def test_reaches_the_inner_parts_with_a_whole_file(kind: str) -> None:
    make, read = WHOLE[kind]
    assert met(read, make()) in {"taken", "qif_without_serial", "qif_without_results"}


@SLOW
@given(typed=st.dictionaries(st.one_of(st.sampled_from(["C", "Mn", "Cr", "Mo", "S"]), st.text(max_size=3)), CELLS))
def test_takes_or_refuses_whatever_is_typed_from_a_mill_certificate(typed: dict[str, str]) -> None:
    told = met(read_composition, typed)
    if told == "taken":
        assert all(0 <= value <= 100 for value in read_composition(typed).values())


@SLOW
@given(typed=st.dictionaries(st.one_of(st.sampled_from(PROPERTIES), st.text(max_size=3)), CELLS))
def test_takes_or_refuses_whatever_is_typed_as_a_test_value(typed: dict[str, str]) -> None:
    met(read_properties, typed)


@SLOW
@given(rows=st.lists(st.lists(CELLS, max_size=9), max_size=5))
def test_takes_or_refuses_any_table_of_results(rows: list[list[str]]) -> None:
    table = "\r\n".join(",".join(cells) for cells in rows)
    met(
        lambda text: read_results(io.BytesIO(text)),
        RESULTS.split(b"\r\n")[0] + b"\r\n" + table.encode("utf-8", "replace"),
    )
