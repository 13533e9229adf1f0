"""The canonical text of a record, its digest, and the check of a chained sequence of records.

Canonical text follows the JSON Canonicalization Scheme (RFC 8785) for what it admits: strings, whole numbers
within the exact range of I-JSON (RFC 7493), true, false, null, arrays, and objects with their keys sorted by
UTF-16 code units. Fractions never appear: a measured value travels as text, so that 12.50 stays 12.50.

    >>> canonical({"value": "12.50", "gauge": 7})
    '{"gauge":7,"value":"12.50"}'

Digests are SHA-256 (FIPS 180-4) in lower-case hexadecimal over UTF-8; keyed digests are HMAC-SHA-256 (RFC
2104). A chain without a key cannot show that its end was cut off or that all of it was rewritten: give
`first_broken` the head that was signed or written down elsewhere.
"""

from __future__ import annotations

import hashlib
import hmac
import json
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum

from qcapp.core.errors import Invalid

START = "0" * 64  # what the first entry of a chain names as its previous digest
MAX_DEPTH = 64
MAX_INTEGER = 2**53 - 1  # RFC 7493 section 2.2: beyond it another reader may see another number

Entry = tuple[int, str, str, str]  # number, header text, previous digest, digest


def canonical(data: object) -> str:
    """The one text that stands for `data`. Raises Invalid for anything that has no single exact text."""
    if _plain(data, 0):
        # The library's encoder is ten times as fast and, for such data, gives the same text.
        text = json.dumps(data, ensure_ascii=False, sort_keys=True, separators=(",", ":"))
        if text.isascii() or not _halves(text):
            return text
    return _text_of(data, "$", 0)


def _plain(data: object, depth: int) -> bool:
    """True for data that is surely admitted and whose keys sort by code point as they do by UTF-16."""
    if depth > MAX_DEPTH:
        return False
    if isinstance(data, str):
        return "\0" not in data
    if data is None or isinstance(data, bool):
        return True
    if isinstance(data, int):
        return -MAX_INTEGER <= data <= MAX_INTEGER
    if isinstance(data, list):
        return all(_plain(value, depth + 1) for value in data)
    return isinstance(data, dict) and all(
        isinstance(key, str) and key.isascii() and "\0" not in key and _plain(value, depth + 1)
        for key, value in data.items()
    )


def _halves(text: str) -> bool:
    """True when the text holds half of a surrogate pair, which no UTF-8 can carry."""
    return any("\ud800" <= character <= "\udfff" for character in text)


def _text_of(data: object, place: str, depth: int) -> str:
    if depth > MAX_DEPTH:
        raise Invalid("nested_too_deep", f"{place} is nested deeper than {MAX_DEPTH} levels.", place=place)
    if data is None or isinstance(data, bool):
        return json.dumps(data)
    if isinstance(data, str):
        return _string(data, place)
    if isinstance(data, int):
        return _integer(data, place)
    if isinstance(data, list):
        return "[" + ",".join(_text_of(v, f"{place}[{i}]", depth + 1) for i, v in enumerate(data)) + "]"
    if isinstance(data, dict):
        return _object(data, place, depth)
    raise _not_canonical(data, place)


def _object(data: dict[object, object], place: str, depth: int) -> str:
    members: list[tuple[bytes, str]] = []
    for key, value in data.items():
        if not isinstance(key, str):
            raise Invalid("key_not_text", f"A key at {place} is not text; write it as text.", place=place)
        name = _string(key, place)
        members.append((key.encode("utf-16-be"), f"{name}:{_text_of(value, f'{place}.{key}', depth + 1)}"))
    return "{" + ",".join(text for _, text in sorted(members)) + "}"


def _string(text: str, place: str) -> str:
    if "\0" in text:
        raise Invalid("nul_character", f"{place} holds a NUL character; remove it.", place=place)
    if _halves(text):
        raise Invalid("half_character", f"{place} holds half of a surrogate pair; send whole characters.", place=place)
    return json.dumps(str(text), ensure_ascii=False)


def _integer(number: int, place: str) -> str:
    if abs(number) > MAX_INTEGER:
        raise Invalid("integer_too_large", f"{place} is beyond 2^53 - 1; send the number as text.", place=place)
    return int.__repr__(number)


def _not_canonical(data: object, place: str) -> Invalid:
    if isinstance(data, float | Decimal):
        kind = "a binary fraction" if isinstance(data, float) else "a decimal number"
        return Invalid("number_not_text", f"{place} is {kind}; send it as text, as it was typed.", place=place)
    return Invalid(
        "not_canonical",
        f"{place} is of type {type(data).__name__}; only text, whole numbers, true, false, null, lists and "
        "objects can be sealed.",
        place=place,
    )


def digest(text: str) -> str:
    """SHA-256 of the text's UTF-8 bytes as 64 hexadecimal digits (FIPS 180-4)."""
    return hashlib.sha256(text.encode("utf-8")).hexdigest()


def keyed(text: str, key: bytes) -> str:
    """HMAC-SHA-256 of the text's UTF-8 bytes, 64 hexadecimal digits (RFC 2104). Invalid without key."""
    if not key:
        raise Invalid("key_missing", "A keyed digest needs a key; set one before sealing.")
    return hmac.new(key, text.encode("utf-8"), hashlib.sha256).hexdigest()


def chain(previous_digest: str, number: int, header_text: str) -> str:
    """Digest of entry `number`: it covers the header, the number and the digest of the entry before."""
    return digest(canonical([previous_digest, number, header_text]))


class Break(StrEnum):
    """How a chained sequence fails at an entry."""

    ALTERED = "altered"  # the content does not give the stored digest
    UNLINKED = "unlinked"  # whole in itself, but made for another predecessor: it or the one before was replaced
    MISSING = "missing"  # a number is left out
    INSERTED = "inserted"  # a number comes twice
    REORDERED = "reordered"  # a number comes too early; the expected one follows later
    CUT = "cut"  # the sequence ends before the head that is known from elsewhere


@dataclass(frozen=True)
class Broken:
    """The first place where a chain does not hold. `number` is the entry that was expected there."""

    number: int
    reason: Break
    message: str


def first_broken(
    entries: Iterable[Entry],
    *,
    start: str = START,
    first_number: int = 1,
    head: tuple[int, str] | None = None,
) -> Broken | None:
    """The first entry at which the sequence does not hold, or None when all of it does.

    `entries` come in their stored order and are read once. `start` and `first_number` allow a check from an
    anchor onwards: the digest of the entry before, and the number that must follow. `head` is the number and
    digest of the last entry known from outside; without it a cut end cannot be seen.
    """
    remaining = iter(entries)
    previous, expected = start, first_number
    for entry in remaining:
        broken = _wrong_number(entry, expected, first_number, remaining) or _wrong_content(entry, previous)
        if broken:
            return broken
        previous, expected = entry[3], expected + 1
        if head and head[0] == entry[0] and head[1] != entry[3]:
            return Broken(entry[0], Break.UNLINKED, f"Entry {entry[0]} is not the one of the known head.")
    if head and head[0] >= expected:
        return Broken(expected, Break.CUT, f"The sequence ends before entry {head[0]}, which is known to exist.")
    return None


def _wrong_number(entry: Entry, expected: int, first_number: int, remaining: Iterator[Entry]) -> Broken | None:
    number = entry[0]
    if number == expected:
        return None
    if number < expected:
        twice = "again" if number >= first_number else "before the first number"
        return Broken(expected, Break.INSERTED, f"Number {number} comes {twice} where {expected} was due.")
    if any(later[0] == expected for later in remaining):
        return Broken(expected, Break.REORDERED, f"Entry {number} stands before entry {expected}.")
    return Broken(expected, Break.MISSING, f"Entry {expected} is missing; {number} follows in its place.")


def _wrong_content(entry: Entry, previous: str) -> Broken | None:
    number, header_text, named_previous, stored = entry
    if _digest_or_none(named_previous, number, header_text) != stored:
        return Broken(number, Break.ALTERED, f"Entry {number} was altered: its content does not give its digest.")
    if named_previous != previous:
        return Broken(
            number,
            Break.UNLINKED,
            f"Entry {number} does not follow from the entry before it; one was replaced.",
        )
    return None


def _digest_or_none(previous: str, number: int, header_text: str) -> str | None:
    # An altered entry may hold what cannot be sealed at all; that is a finding, no failure.
    try:
        return chain(previous, number, header_text)
    except Invalid:
        return None
