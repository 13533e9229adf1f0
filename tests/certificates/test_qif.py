"""The results inside a certificate as QIF 3.0: the standard's own schema, the frozen values, and back in again."""

from __future__ import annotations

import copy
import io
import re
from collections.abc import Callable
from decimal import Decimal
from typing import Any
from xml.etree.ElementTree import Element

import pytest
from defusedxml.ElementTree import fromstring
from lxml import etree

from qcapp.certificates.qif import qif_of
from qcapp.certificates.queries import content_of
from qcapp.core.errors import Invalid
from qcapp.inspections.services import import_results
from qcapp.inspections.services.qif_file import read_qif
from qcapp.inspections.services.results_file import outward

from ..factories.certificates import certified, release_unit
from ..factories.inspections import Workshop
from ..qif_reference import qif_reference

SPACE = "{http://qifstandards.org/xsd/qif3}"


@pytest.fixture
def says(ready: Workshop) -> dict[str, Any]:
    return content_of(certified(release_unit(ready)).id)


def identifiers(root: Element) -> list[str]:
    return [element.attrib["id"] for element in root.iter() if "id" in element.attrib]


@pytest.mark.django_db
def test_validates_against_the_standards_schema(says: dict[str, Any]) -> None:
    """Source: QIFDocument.xsd of ISO 23952:2020."""
    schema = etree.XMLSchema(etree.parse(qif_reference() / "schema" / "QIFDocument.xsd"))
    hard = copy.deepcopy(says)
    hard["results"]["stages"][0]["lines"][0] |= {
        "title": "<b>\u202e \U0001f98a &amp; " + "x" * 300,
        "concession": "C-1",
    }
    for content in (says, hard):
        assert schema.validate(etree.fromstring(qif_of(content))), schema.error_log


@pytest.mark.django_db
def test_holds_every_frozen_value_with_the_digits_that_were_typed(says: dict[str, Any]) -> None:
    root = fromstring(qif_of(says))
    items = {
        one.attrib["id"]: one.findtext(f"{SPACE}CharacteristicDesignator/{SPACE}Designator")
        for one in root.iter()
        if one.tag.endswith("CharacteristicItem")
    }
    found = [
        (items[one.findtext(f"{SPACE}CharacteristicItemId") or ""], one.findtext(f"{SPACE}Value"))
        for one in root.iter()
        if one.tag.endswith("CharacteristicMeasurement")
    ]
    lines = [line for stage in says["results"]["stages"] for line in stage["lines"]]
    assert found == [(str(line["number"]), value) for line in lines for value in line["values"]]
    assert ("101", "61.94") in found
    assert ("103", "250.0") in found


@pytest.mark.django_db
def test_counts_its_parts_and_names_each_once(says: dict[str, Any]) -> None:
    root = fromstring(qif_of(says))
    given = identifiers(root)
    assert len(given) == len(set(given))
    assert max(map(int, given)) == int(root.attrib["idMax"])
    for element in root.iter():
        if "n" in element.attrib:
            assert len(element) == int(element.attrib["n"]), element.tag
    used = [element.text for element in root.iter() if re.search(r"\}(\w+Id|Id)$", element.tag)]
    assert {one for one in used if one and one.isdigit()} <= set(given)
    assert root.findtext(f".//{SPACE}ActualComponent/{SPACE}SerialNumber") == "FR-200-0147"


@pytest.mark.django_db
def test_is_the_same_for_the_same_content(says: dict[str, Any]) -> None:
    assert qif_of(says) == qif_of(copy.deepcopy(says))
    assert qif_of(says) != qif_of(says | {"identity": says["identity"] | {"serial": "FR-200-0999"}})


@pytest.mark.django_db
def test_comes_back_in_as_results_of_another_unit_judged_like_typed_ones(
    says: dict[str, Any], workshop: Workshop
) -> None:
    other = workshop.another_unit("FR-200-0148")
    text = qif_of(says).decode().replace("FR-200-0147", other.serial).replace(">250.1<", ">250.40004<")
    report = import_results(by=workshop.cast.inspector, stream=io.BytesIO(text.encode()), at=workshop.at)
    codes = {reject.code for reject in report.rejects}
    assert report.applied >= 5
    assert codes <= {"checkpoint_is_computed", "second_is_welder", "not_permitted", "clock_off"}
    assert len(report.reports) == 1  # 250.4 is out of band, and so is what is computed from it


@pytest.mark.parametrize(
    ("change", "code"),
    [
        (lambda text: "<html/>", "qif_unreadable"),
        (lambda text: text[:400], "qif_unreadable"),
        (lambda text: '<!DOCTYPE x [<!ENTITY a "b">]>' + text.split("?>\n", 1)[1], "qif_unreadable"),
        (lambda text: re.sub(r"<Results>.*</Results>", "", text, flags=re.S), "qif_without_results"),
        (lambda text: re.sub(r"<SerialNumber>[^<]*<", "<SerialNumber><", text), "qif_without_serial"),
    ],
)
@pytest.mark.django_db
def test_refuses_what_cannot_be_read_as_results(says: dict[str, Any], change: Callable[[str], str], code: str) -> None:
    with pytest.raises(Invalid) as caught:
        read_qif(change(qif_of(says).decode()).encode(), badge="1001")
    assert caught.value.code == code


def test_reads_the_standards_samples_or_says_why_not() -> None:
    """Source: the public sample documents of ISO 23952, in the reference folder."""
    told: dict[str, object] = {}
    for file in sorted((qif_reference() / "samples").iterdir()):
        try:
            told[file.name] = len(read_qif(file.read_bytes(), badge="1001").rows)
        except Invalid as refusal:
            told[file.name] = refusal.code
    assert told == {
        "QIF_Results_Sample.QIF": "qif_without_serial",
        "SheetMetal_QIF_Results_6_samples.QIF": 126,
        "SheetMetal_QIF_Results_sample_1.QIF": 21,
        "WIDGET_QIF_PLAN.QIF": "qif_without_results",
        "WIDGET_QIF_RESULTS.QIF": "qif_without_serial",
        "simplePlan.QIF": "qif_without_results",
    }


@pytest.mark.parametrize(
    ("value", "expected"),
    [
        ("0.500004", "0.50001"),
        ("0.499996", "0.50000"),
        ("-0.500004", "-0.50001"),
        ("0.1234567", "0.12346"),
        ("0.2", "0.2"),
        ("no number", "no number"),
        ("NaN", "NaN"),
    ],
)
def test_rounds_a_machines_digits_never_to_the_good_side_of_a_limit(value: str, expected: str) -> None:
    assert outward(value, 5, Decimal("-0.50"), Decimal("0.50")) == expected
