"""A QIF 3.0 results document (ISO 23952:2020) of a measuring machine, read into the rows of a results file.

A measured characteristic is matched to a checkpoint by its designator, else by its name: the checkpoint's number or
key. The unit comes from the component's serial number, the gauge from the device's name, the time from the measurement
or the document, the part's temperature from the component's environment (`ObjectTemperature`). What a
row cannot tell is left to be refused with a sentence, row by row, like a typed one.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from decimal import Decimal, InvalidOperation
from xml.etree.ElementTree import Element, ParseError

from defusedxml.common import DefusedXmlException
from defusedxml.ElementTree import fromstring

from qcapp.core.errors import Invalid

from .results_file import NEEDED, ResultsFile

SPACE = "{http://qifstandards.org/xsd/qif3}"
MEASURED, ITEM = "CharacteristicMeasurement", "CharacteristicItem"
MILLIMETRE = Decimal("0.001")
ZERO_CELSIUS = Decimal("273.15")
HUNDREDTH = Decimal("0.01")
FOREVER = timedelta.max
Environments = tuple[tuple[str, str], ...]  # when, and the part's temperature in °C


@dataclass(frozen=True)
class Document:
    """What is looked up while the measurements are read."""

    items: Mapping[str, Element]
    devices: Mapping[str, str]
    serials: Mapping[str, str]
    length: Decimal  # metres in one of the document's lengths
    measured_at: str
    environments: Mapping[str, Environments]  # of a component


def looks_like_qif(content: bytes) -> bool:
    """Whether the file is XML rather than a table."""
    return content.lstrip(b"\xef\xbb\xbf \t\r\n").startswith(b"<")


def read_qif(content: bytes, *, badge: str) -> ResultsFile:
    """The document's measured values as rows, recorded by the person with this badge; a line is a measurement's place.

    Raises Invalid `qif_unreadable`, `qif_without_results`, `qif_without_serial`.
    """
    root = _root(content)
    results = root.find(f"{SPACE}Results")
    if results is None:
        raise Invalid("qif_without_results", "The QIF document holds no results; a plan or a model cannot be imported.")
    document = _document(root, results)
    rows = tuple(enumerate(_together(_rows(results, document, badge)), start=1))
    if not rows:
        raise Invalid("qif_without_results", "The QIF document holds no measured value of a characteristic.")
    return ResultsFile(hashlib.sha256(content).hexdigest(), (*NEEDED, "temperature"), rows, from_machine=True)


def _root(content: bytes) -> Element:
    try:
        root: Element = fromstring(content, forbid_dtd=True)
    except (ParseError, DefusedXmlException, ValueError, LookupError) as error:
        raise Invalid("qif_unreadable", f"The file is not readable as XML: {type(error).__name__}.") from None
    if root.tag != f"{SPACE}QIFDocument":
        raise Invalid("qif_unreadable", "The file is XML but no QIF 3.0 document; export results as QIF 3.0.")
    return root


def _document(root: Element, results: Element) -> Document:
    serials = {one.get("id", ""): _said(one, "SerialNumber") for one in results.iter(f"{SPACE}ActualComponent")}
    serials = {number: serial for number, serial in serials.items() if serial}
    if not serials:
        message = "The QIF document names no serial number; have the machine write the unit's serial into it."
        raise Invalid("qif_without_serial", message)
    return Document(
        items={one.get("id", ""): one for one in root.iter() if one.tag.endswith(ITEM)},
        devices={one.get("id", ""): _said(one, "Name") for one in root.iter(f"{SPACE}MeasurementDevice")},
        serials=serials,
        length=_length(root),
        measured_at=_measured_at(root, results),
        environments={one.get("id", ""): _environments(one, root) for one in results.iter(f"{SPACE}ActualComponent")},
    )


def _environments(component: Element, root: Element) -> Environments:
    """When the component's temperature was taken, and what it was; one that cannot be read is left out."""
    found = (
        (_said(one, "DateAndTime"), one.find(f"{SPACE}ObjectTemperature"))
        for one in component.iter(f"{SPACE}Environment")
    )
    return tuple(
        (when, celsius) for when, element in found if element is not None and (celsius := _celsius(element, root))
    )


def _celsius(element: Element, root: Element) -> str:
    """In °C to a hundredth. Units.xsd: kelvin = (value + offset) · factor; kelvin itself where no unit is named."""
    named = element.get("temperatureUnit")
    units = [one for one in root.iter(f"{SPACE}TemperatureUnit") if named in (None, _said(one, "UnitName"))]
    path = f"{SPACE}UnitConversion/{SPACE}"
    try:
        if named and not units:
            return ""
        factor, offset = (
            Decimal((units[0].findtext(path + name) if units else None) or default)
            for name, default in (("Factor", "1"), ("Offset", "0"))
        )
        kelvin = (Decimal((element.text or "").strip()) + offset) * factor
    except InvalidOperation:
        return ""
    return f"{(kelvin - ZERO_CELSIUS).quantize(HUNDREDTH):f}"


def _length(root: Element) -> Decimal:
    path = "/".join(SPACE + name for name in ("FileUnits", "PrimaryUnits", "LinearUnit", "UnitConversion", "Factor"))
    try:
        return Decimal(root.findtext(path, "1").strip())
    except InvalidOperation:
        raise Invalid("qif_unreadable", "The document's unit of length has no readable factor.") from None


def _measured_at(root: Element, results: Element) -> str:
    for name in ("InspectionEnd", "InspectionStart", "ReportPreparationDate"):
        for found in results.iter(SPACE + name):
            if found.text:
                return found.text.strip()
    return root.findtext(f"{SPACE}Version/{SPACE}TimeCreated", "").strip()


def _rows(results: Element, document: Document, badge: str) -> Iterator[dict[str, str]]:
    for found in results.iter(f"{SPACE}MeasurementResults"):
        listed = found.find(f"{SPACE}ActualComponentIds/{SPACE}Id")
        own = "" if listed is None else (listed.text or "").strip()
        for measured in found.iter():
            if measured.tag.endswith(MEASURED):
                yield _row(measured, own, document, badge)


def _together(rows: Iterator[dict[str, str]]) -> Iterator[dict[str, str]]:
    """Several readings of one characteristic, one behind the other, are one row with bars between them."""
    last: dict[str, str] | None = None
    for row in rows:
        if last is not None and all(row[name] == last[name] for name in ("serial", "checkpoint", "gauge")):
            last["value"] += f" | {row['value']}"
            continue
        if last is not None:
            yield last
        last = row
    if last is not None:
        yield last


def _row(measured: Element, own: str, document: Document, badge: str) -> dict[str, str]:
    item = document.items.get(_said(measured, "CharacteristicItemId"))
    component = _said(measured, "ActualComponentId") or own
    if component not in document.serials and len(document.serials) == 1:
        component = next(iter(document.serials))
    moment = _said(measured, "TimeStamp") or document.measured_at
    return {
        "serial": document.serials.get(component, ""),
        "checkpoint": "" if item is None else _checkpoint(item),
        "value": _value(measured, document),
        "gauge": _gauge(measured, item, document),
        "recorded_at": moment,
        "badge": badge,
        "temperature": _warmth(document.environments.get(component, ()), moment),
    }


def _warmth(environments: Environments, moment: str) -> str:
    """The temperature taken nearest to the moment of measuring; empty where the document gives none."""
    if not environments:
        return ""
    at = _time(moment)
    if at is None:
        return environments[0][1]
    return min(environments, key=lambda one: abs(taken - at) if (taken := _time(one[0])) else FOREVER)[1]


def _time(text: str) -> datetime | None:
    """A time as XML writes it; without a zone it is UTC, as the standard asks for."""
    try:
        found = datetime.fromisoformat(text)
    except ValueError:
        return None
    return found if found.tzinfo else found.replace(tzinfo=UTC)


def _checkpoint(item: Element) -> str:
    return item.findtext(f"{SPACE}CharacteristicDesignator/{SPACE}Designator", "").strip() or _said(item, "Name")


def _gauge(measured: Element, item: Element | None, document: Document) -> str:
    for element in (measured, item):
        if element is not None and (found := element.findtext(f"{SPACE}MeasurementDeviceIds/{SPACE}Id")):
            return document.devices.get(found.strip(), "")
    return ""


def _value(measured: Element, document: Document) -> str:
    """The value as written; a length in millimetres. Attributes come as text."""
    typed = _said(measured, "Value")
    angular, attribute = "Ang" in measured.tag, "Attribute" in measured.tag
    if angular or attribute or document.length == MILLIMETRE or not typed:
        return typed
    try:
        scaled = Decimal(typed) * document.length / MILLIMETRE
    except InvalidOperation:
        return typed
    return f"{scaled:f}"


def _said(element: Element, name: str) -> str:
    return (element.findtext(SPACE + name) or "").strip()
