"""The results of a certificate as a QIF 3.0 document (ISO 23952:2020), written from the frozen content alone.

A length becomes a linear characteristic, an angle an angular one, everything else an attribute with its value as text:
the standard has no place for a verdict without a number. Values keep the digits that were typed. The standard's schema
is not part of this project; docs/qif.md says where anyone gets it.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any
from uuid import NAMESPACE_URL, uuid5
from xml.etree.ElementTree import Element, SubElement, indent, tostring

NAMESPACE = "http://qifstandards.org/xsd/qif3"
VERSION = "3.0.0"
NUMBER = re.compile(r"-?\d+(?:\.\d+)?\Z")
FAMILIES = {"mm": "Linear", "°": "Angular"}
PASS, FAIL = "PASS", "FAIL"
STATUS = {"in_band": PASS, "near_limit": PASS, "out_of_band": FAIL, "conforms": PASS, "does_not_conform": FAIL}
Says = Mapping[str, Any]


@dataclass
class Numbers:
    """The document's identifiers, counted up as they are given out."""

    last: int = 0

    def next(self) -> str:
        self.last += 1
        return str(self.last)


@dataclass(frozen=True)
class Row:
    """A checkpoint with the identifiers that its parts of the document have."""

    line: Says
    family: str  # Linear | Angular | Attribute
    definition: str
    nominal: str
    item: str
    measurements: tuple[tuple[str, str], ...]  # identifier and value


@dataclass
class Book:
    """What the parts of the document have to know of each other."""

    says: Says
    numbers: Numbers = field(default_factory=Numbers)
    devices: dict[str, str] = field(default_factory=dict)
    rows: list[Row] = field(default_factory=list)
    component: str = ""
    results: str = ""
    standard: str = ""

    def __post_init__(self) -> None:
        lines = [line for stage in self.says["results"]["stages"] for line in stage["lines"] if line.get("values")]
        for gauge in sorted({line["gauge"] for line in lines if line["gauge"] not in ("", "computed")}):
            self.devices[gauge] = self.numbers.next()
        self.component, self.results, self.standard = (self.numbers.next() for _ in range(3))
        self.rows = [self._row(line) for line in lines]

    def _row(self, line: Says) -> Row:
        values = line.get("counted") or line["values"]  # what met the limits: at the reference temperature, a mean
        numeric = all(NUMBER.match(value) for value in values)
        family = FAMILIES.get(line["unit_of_measure"], "Attribute") if numeric else "Attribute"
        n = self.numbers
        given = values if family != "Attribute" else [", ".join(values)]
        heads = n.next(), n.next(), n.next()
        return Row(line, family, *heads, tuple((n.next(), value) for value in given))


def qif_of(says: Says) -> bytes:
    """The document. Equal content gives equal bytes."""
    book = Book(says)
    identity = says["identity"]
    root = Element("QIFDocument", {"xmlns": NAMESPACE, "versionQIF": VERSION, "idMax": str(book.numbers.last)})
    SubElement(root, "QPId").text = str(uuid5(NAMESPACE_URL, identity["check_address"]))
    _text(SubElement(root, "Version"), "TimeCreated", identity.get("issued_at") or "1970-01-01T00:00:00Z")
    header = SubElement(root, "Header")
    _text(SubElement(header, "Application"), "Name", "qcapp")
    _text(header, "Description", f"Certificate {identity['number']} issue {identity['issue']}")
    for build in (_standard, _units, _devices, _characteristics, _results):
        build(root, book)
    indent(root, " ")
    return b'<?xml version="1.0" encoding="UTF-8"?>\n' + tostring(root, encoding="unicode").encode() + b"\n"


def _text(parent: Element, name: str, text: str) -> Element:
    child = SubElement(parent, name)
    child.text = "".join(character if character.isprintable() else " " for character in text)
    return child


def _counted(parent: Element, name: str, count: int) -> Element:
    return SubElement(parent, name, {"n": str(count)})


def _standard(root: Element, book: Book) -> None:
    """Limits and nominals are read by the fundamental rules of ISO 8015."""
    standard = SubElement(_counted(root, "StandardsDefinitions", 1), "Standard", {"id": book.standard})
    _text(SubElement(standard, "Organization"), "StandardsOrganizationEnum", "ISO")
    _text(standard, "Designator", "8015")
    _text(standard, "Year", "2011")


def _units(root: Element, book: Book) -> None:
    primary = SubElement(SubElement(root, "FileUnits"), "PrimaryUnits")
    for kind, si, name, factor in (
        ("AngularUnit", "radian", "degree", "0.0174532925199433"),
        ("LinearUnit", "meter", "mm", "0.001"),
    ):
        unit = SubElement(primary, kind)
        _text(unit, "SIUnitName", si)
        _text(unit, "UnitName", name)
        _text(SubElement(unit, "UnitConversion"), "Factor", factor)


def _devices(root: Element, book: Book) -> None:
    if not book.devices:
        return
    listed = _counted(SubElement(root, "MeasurementResources"), "MeasurementDevices", len(book.devices))
    for gauge, number in book.devices.items():
        _text(SubElement(listed, "MeasurementDevice", {"id": number}), "Name", gauge)


def _characteristics(root: Element, book: Book) -> None:
    part = SubElement(root, "Characteristics")
    _text(part, "FormalStandardId", book.standard)
    for name, fill in (("Definition", _definition), ("Nominal", _nominal), ("Item", _item)):
        _each(_counted(part, f"Characteristic{name}s", len(book.rows)), name, fill, book)


def _each(parent: Element, name: str, fill: Callable[[Element, Row, Book], None], book: Book) -> None:
    for row in book.rows:
        number = getattr(row, name.lower())
        fill(SubElement(parent, f"UserDefined{row.family}Characteristic{name}", {"id": number}), row, book)


def _definition(element: Element, row: Row, book: Book) -> None:
    _text(element, "Name", f"{row.line['number']} {row.line['title']}")
    if row.family != "Attribute":
        _tolerance(element, row.line)
    _text(element, "WhatToMeasure", row.line["title"])


def _tolerance(element: Element, line: Says) -> None:
    limits = [(name, line.get(key)) for name, key in (("MaxValue", "upper"), ("MinValue", "lower")) if line.get(key)]
    if not limits:
        _text(element, "NonTolerance", "MEASURED")
        return
    tolerance = SubElement(element, "Tolerance")
    for name, value in limits:
        _text(tolerance, name, str(value))
    _text(tolerance, "DefinedAsLimit", "true")


def _nominal(element: Element, row: Row, book: Book) -> None:
    _text(element, "CharacteristicDefinitionId", row.definition)
    if row.family != "Attribute" and NUMBER.match(row.line["nominal"]):
        _text(element, "TargetValue", row.line["nominal"])


def _item(element: Element, row: Row, book: Book) -> None:
    _text(element, "Name", f"{row.line['number']} {row.line['title']}")
    _text(SubElement(element, "CharacteristicDesignator"), "Designator", str(row.line["number"]))
    _used(element, row, book)
    _text(element, "CharacteristicNominalId", row.nominal)


def _used(element: Element, row: Row, book: Book) -> None:
    if row.line["gauge"] in book.devices:
        _text(_counted(element, "MeasurementDeviceIds", 1), "Id", book.devices[row.line["gauge"]])


def _results(root: Element, book: Book) -> None:
    results = SubElement(root, "Results")
    found = SubElement(_counted(results, "MeasurementResultsSet", 1), "MeasurementResults", {"id": book.results})
    measured = list(_measurements(book))
    parent = _counted(SubElement(found, "MeasuredCharacteristics"), "CharacteristicMeasurements", len(measured))
    parent.extend(measured)
    failed = any(STATUS.get(row.line["outcome"]) == FAIL for row in book.rows)
    status = FAIL if failed else PASS
    _text(SubElement(found, "InspectionStatus"), "InspectionStatusEnum", status)
    _text(_counted(found, "ActualComponentIds", 1), "Id", book.component)
    listed = _counted(_counted(results, "ActualComponentSets", 1), "ActualComponentSet", 1)
    component = SubElement(listed, "ActualComponent", {"id": book.component})
    _text(component, "SerialNumber", book.says["identity"]["serial"])
    _text(SubElement(component, "Status"), "InspectionStatusEnum", status)


def _measurements(book: Book) -> Iterator[Element]:
    for row in book.rows:
        for number, value in row.measurements:
            element = Element(f"UserDefined{row.family}CharacteristicMeasurement", {"id": number})
            status = SubElement(element, "Status")
            if row.line["outcome"] in STATUS:
                _text(status, "CharacteristicStatusEnum", STATUS[row.line["outcome"]])
            else:
                _text(status, "OtherCharacteristicStatus", row.line["verdict"])
            _text(element, "CharacteristicItemId", row.item)
            _text(element, "TimeStamp", row.line["at"])
            _text(element, "ActualComponentId", book.component)
            _used(element, row, book)
            if row.line.get("concession"):
                _text(element, "NonConformanceDesignator", row.line["concession"])
            _text(element, "Value", value)
            yield element
