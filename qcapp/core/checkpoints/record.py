"""Record checkpoints: a text that must be on file, such as a heat number or a stamp. Nothing is judged."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from qcapp.core.checkpoints import fields
from qcapp.core.checkpoints.assessment import Assessment, Kind, Outcome
from qcapp.core.errors import Invalid
from qcapp.core.identification import serial_pattern

MAX_LENGTH = 200
FORMS = ("text", "heat", "serial", "date")
FORM_NAMES = {"text": "text", "heat": "heat number", "serial": "serial number", "date": "date"}

_MARK = re.compile(r"[A-Z0-9](?:[A-Z0-9 ./-]*[A-Z0-9])?")  # what is stamped or printed on a mill certificate
_DATE = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")


@dataclass(frozen=True)
class RecordSpec:
    """The form of the text, its shortest and longest length, and the pattern of a serial number."""

    form: str = "text"
    min_length: int = 1
    max_length: int = MAX_LENGTH
    pattern: str | None = None

    @property
    def gives_number(self) -> bool:
        return False

    def to_json(self) -> dict[str, object]:
        return {
            "form": self.form,
            "min_length": self.min_length,
            "max_length": self.max_length,
            "pattern": self.pattern,
        }


@dataclass(frozen=True)
class RecordAnswer:
    """The text without outer blanks."""

    text: str

    def to_json(self) -> dict[str, object]:
        return {"text": self.text}

    def number(self) -> Decimal | None:
        return None


class Record(Kind[RecordSpec, RecordAnswer]):
    """Keys of the spec: `form`, `min_length`, `max_length`, `pattern`. Answer: `{"text": "…"}`."""

    name = "record"
    label = "Record"

    @classmethod
    def read_spec(cls, data: Mapping[str, object]) -> RecordSpec:
        fields.only(data, {"form", "min_length", "max_length", "pattern"})
        form = fields.text(data, "form") or "text"
        if form not in FORMS:
            raise Invalid("form_unknown", f"A record has one of the forms {', '.join(FORMS)}.", field="form")
        shortest = fields.whole(data, "min_length", lowest=1, highest=MAX_LENGTH) or 1
        longest = fields.whole(data, "max_length", lowest=1, highest=MAX_LENGTH) or MAX_LENGTH
        if shortest > longest:
            raise Invalid("limits_crossed", "“min_length” is above “max_length”; exchange them.", field="min_length")
        return RecordSpec(form, shortest, longest, _read_pattern(data, form))

    @classmethod
    def read_answer(cls, data: Mapping[str, object], spec: RecordSpec) -> RecordAnswer:
        fields.only(data, {"text"})
        text = fields.text(data, "text", longest=spec.max_length)
        if text is None:
            raise Invalid("field_missing", "“text” is missing; write what is to be on record.", field="text")
        if len(text) < spec.min_length:
            raise Invalid("text_too_short", f"At least {spec.min_length} characters are asked for.", field="text")
        _check_form(text, spec)
        return RecordAnswer(text)

    @classmethod
    def assess(
        cls, answer: RecordAnswer, spec: RecordSpec, *, expanded_uncertainty: Decimal | None = None
    ) -> Assessment:
        return Assessment(Outcome.RECORDED)

    @classmethod
    def describe_limits(cls, spec: RecordSpec) -> str:
        words = FORM_NAMES[spec.form]
        return f"{words} such as {serial_pattern(spec.pattern).example}" if spec.pattern else words

    @classmethod
    def describe_answer(cls, answer: RecordAnswer, spec: RecordSpec) -> str:
        return answer.text


def _read_pattern(data: Mapping[str, object], form: str) -> str | None:
    pattern = fields.text(data, "pattern")
    if pattern is None:
        return None
    if form != "serial":
        raise Invalid("pattern_not_here", "Only a serial number has a pattern; leave it out.", field="pattern")
    with fields.naming("pattern"):
        return serial_pattern(pattern).pattern


def _check_form(text: str, spec: RecordSpec) -> None:
    with fields.naming("text"):
        if spec.form in ("heat", "serial") and not _MARK.fullmatch(text):
            raise Invalid("mark_form", "Write it as it is stamped: capitals, digits, and - . / between them.")
        if spec.form == "date":
            _check_date(text)
        if spec.pattern:
            for finding in serial_pattern(spec.pattern).check(text):
                raise Invalid(finding.code, finding.message)


def _check_date(text: str) -> None:
    try:
        if _DATE.fullmatch(text):
            date.fromisoformat(text)
            return
    except ValueError:
        pass
    raise Invalid("date_form", "That is no date; write year-month-day, such as 2031-04-30.")
