"""One operation as a tablet, a file or a program sends it: its shape, its limits, its digest.

Nothing here looks at the database. Raises Invalid with a code for whatever cannot be read; what is read can still be
refused by the rules.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any, NamedTuple
from uuid import UUID

from qcapp.core.errors import Invalid
from qcapp.core.sealing import MAX_INTEGER, canonical
from qcapp.lib.plain_text import plain_text, shown

VERSION = 1
MAX_OPERATIONS = 200
MAX_BODY = 8_000  # characters of one operation; fifty readings of the longest kind stay far below
MAX_BASES = 10
FIRST_YEAR, LAST_YEAR = 2000, 2100  # a clock outside was never set, and cannot be stored in every zone

REQUIRED = (
    "id",
    "v",
    "kind",
    "serial",
    "revision",
    "checkpoint",
    "purpose",
    "answer",
    "recorded_at",
    "recorded_by",
)
OPTIONAL = ("round", "inspection", "raw", "gauge", "base", "reason")
FIELDS = frozenset(REQUIRED + OPTIONAL)
_UUID = re.compile(r"[0-9a-f]{8}-(?:[0-9a-f]{4}-){3}[0-9a-f]{12}")
PURPOSES = ("reading", "repeat", "correction")


class Operation(NamedTuple):
    """One readable operation. `base` names what the person had seen: nothing, one answer, or all of a conflict."""

    id: UUID
    serial: str
    revision: UUID
    checkpoint: str
    round: int
    inspection: int
    purpose: str
    answer: dict[str, Any]
    raw: str
    gauge: str
    recorded_at: datetime
    recorded_by: str
    base: tuple[UUID, ...]
    reason: str
    digest: str


def named_id(body: object) -> str:
    """The identifier an operation gives itself, for the answer about it; empty when it has none."""
    given = body.get("id") if isinstance(body, Mapping) else None
    return shown(given, 64) if isinstance(given, str) else ""


def read_operation(body: object) -> Operation:
    """The operation in `body`. Raises Invalid; its code and sentence go back to whoever sent it."""
    if not isinstance(body, Mapping):
        raise Invalid("operation_malformed", "An operation is an object with named fields.")
    _check_fields(body)
    digest = body_digest(body)
    return Operation(
        id=_one_uuid(body["id"], "id"),
        serial=_text(body, "serial", 40).upper(),
        revision=_one_uuid(body["revision"], "revision"),
        checkpoint=_text(body, "checkpoint", 60),
        round=_whole(body, "round", 1, 99),
        inspection=_whole(body, "inspection", 1, 3),
        purpose=_purpose(body),
        answer=dict(body["answer"]),
        raw=_optional_text(body, "raw", 200),
        gauge=_optional_text(body, "gauge", 20),
        recorded_at=_instant(body),
        recorded_by=_text(body, "recorded_by", 20),
        base=_base(body),
        reason=_optional_text(body, "reason", 300),
        digest=digest,
    )


_ENCODE = json.JSONEncoder(ensure_ascii=False, sort_keys=True, separators=(",", ":")).encode


def body_digest(body: Mapping[str, Any]) -> str:
    """SHA-256 of the operation's canonical text (core.sealing): the same body gives the same digest anywhere.

    Raises Invalid for a binary fraction, a NUL, half a character, a number or a depth beyond the limits.
    """
    if not _is_plain(body):
        return hashlib.sha256(_within(canonical(dict(body))).encode()).hexdigest()
    # One call of the C encoder gives the same text as `canonical` for what is plain, in a tenth of the time.
    text = _ENCODE(body)
    if "\\u0000" in text:
        canonical(dict(body))  # refuses a NUL; the six characters typed as such are fine
    try:
        return hashlib.sha256(_within(text).encode()).hexdigest()
    except UnicodeEncodeError:
        raise Invalid("half_character", "A text holds half of a character; send whole characters.") from None


def _within(text: str) -> str:
    if len(text) > MAX_BODY:
        raise Invalid("operation_too_long", f"An operation is longer than {MAX_BODY} characters; shorten its texts.")
    return text


def _is_plain(body: Mapping[str, Any]) -> bool:
    """Texts, small whole numbers and one flat answer with latin keys: what `json.dumps` and `canonical` write alike."""
    return all(_is_atom(value) or _is_flat(value) for value in body.values())


def _is_flat(value: object) -> bool:
    if type(value) is dict:
        return all(type(k) is str and k.isascii() and (_is_atom(v) or _is_row(v)) for k, v in value.items())
    return _is_row(value)


def _is_row(value: object) -> bool:
    return type(value) is list and all(map(_is_atom, value))


def _is_atom(value: object) -> bool:
    kind = type(value)
    return kind is str or value is None or kind is bool or (kind is int and abs(value) <= MAX_INTEGER)  # type: ignore[arg-type]


def _check_fields(body: Mapping[str, Any]) -> None:
    if body.keys() > FIELDS or not body.keys() <= FIELDS:
        extra = next(key for key in body if key not in FIELDS)
        raise Invalid("field_unknown", f"An operation has no field “{shown(str(extra))}”.", field=shown(str(extra)))
    for name in REQUIRED:
        if body.get(name) is None:
            raise Invalid("field_missing", f"The operation lacks “{name}”.", field=name)
    if body["v"] != VERSION or body["v"] is True:
        raise Invalid("version_unknown", f"This server reads operations of version {VERSION}.", field="v")
    if body["kind"] != "result":
        raise Invalid("kind_unknown", "The kind of an operation is “result”.", field="kind")
    if not isinstance(body["answer"], Mapping):
        raise Invalid("field_type", '“answer” must be an object, such as {"value": "61.94"}.', field="answer")


def _text(body: Mapping[str, Any], name: str, longest: int) -> str:
    value = body[name]
    if not isinstance(value, str):
        raise Invalid("field_type", f"“{name}” must be text.", field=name)
    if value.isascii() and value.isprintable() and 0 < len(value.strip()) <= longest:
        return value.strip()
    try:
        return plain_text(f"“{name}”", value, longest=longest)
    except Invalid as refusal:
        refusal.details.setdefault("field", name)
        raise


def _optional_text(body: Mapping[str, Any], name: str, longest: int) -> str:
    value = body.get(name)
    if value is None or value == "" or (isinstance(value, str) and not value.strip()):
        return ""
    return _text(body, name, longest)


def _whole(body: Mapping[str, Any], name: str, lowest: int, highest: int) -> int:
    value = body.get(name, 1)
    if isinstance(value, bool) or not isinstance(value, int) or not lowest <= value <= highest:
        raise Invalid("field_type", f"“{name}” must be a whole number from {lowest} to {highest}.", field=name)
    return value


def _purpose(body: Mapping[str, Any]) -> str:
    value = body["purpose"]
    if value not in PURPOSES:
        raise Invalid("purpose_unknown", f"The purpose is one of {', '.join(PURPOSES)}.", field="purpose")
    return str(value)


def _one_uuid(value: object, name: str) -> UUID:
    # Only the usual spelling: the same identifier written otherwise would be another body under the same key.
    if isinstance(value, str) and _UUID.fullmatch(value):
        return UUID(value)
    raise Invalid("identifier_unreadable", f"“{name}” must be a UUID in small letters with dashes.", field=name)


def _base(body: Mapping[str, Any]) -> tuple[UUID, ...]:
    value = body.get("base")
    if value is None:
        return ()
    given = value if isinstance(value, list) else [value]
    if not 0 < len(given) <= MAX_BASES:
        raise Invalid("field_type", f"“base” names one answer, or 2 to {MAX_BASES} of a conflict.", field="base")
    found = tuple(dict.fromkeys(_one_uuid(one, "base") for one in given))
    if str(body["id"]) in map(str, found):
        raise Invalid("base_is_itself", "An answer cannot follow itself; “base” names an earlier one.", field="base")
    return found


def _instant(body: Mapping[str, Any]) -> datetime:
    value = body["recorded_at"]
    try:
        found = datetime.fromisoformat(value)
    except (TypeError, ValueError):
        found = None
    if found is None or found.tzinfo is None or not FIRST_YEAR < found.year < LAST_YEAR:
        message = "“recorded_at” must be a time with its zone, such as 2031-04-30T14:10:00+00:00."
        raise Invalid("time_unreadable", message, field="recorded_at")
    return found.astimezone(UTC)
