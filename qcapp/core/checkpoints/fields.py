"""Fields of a specification or answer as they arrive: text, whole numbers, decimals as text, true and false.

Every function raises Invalid with the name of the field in `details["field"]`: `field_unknown`,
`field_missing`, `field_type`, `field_too_long`, `field_out_of_range`, `field_control_character`, or a code of
`parse_value`.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from decimal import Decimal

from qcapp.core.errors import Invalid
from qcapp.core.metrology.quantities import parse_value

Data = Mapping[str, object]

_CONTROL = {"Cc", "Cs", "Zl", "Zp"}  # control characters, half characters, line and paragraph separators
# Marks that turn the reading direction or show nothing: two texts that look alike must be alike.
_UNSEEN = frozenset("\u00ad\u061c\u200b\u200e\u200f\u2060\ufeff") | {
    chr(c) for c in (*range(0x202A, 0x202F), *range(0x2066, 0x206A))
}


@contextmanager
def naming(field: str) -> Iterator[None]:
    """Puts the field's name into any Invalid raised inside that does not name one yet."""
    try:
        yield
    except Invalid as refusal:
        refusal.details.setdefault("field", field)
        raise


def only(data: Data, allowed: set[str]) -> None:
    """Refuses a key outside `allowed`: a mistyped limit must not vanish silently."""
    if not isinstance(data, Mapping):
        raise Invalid("field_type", "Send an object with named fields.", field="")
    for key in data:
        if key not in allowed:
            known = ", ".join(sorted(allowed)) or "none"
            raise Invalid("field_unknown", f"There is no field “{key}” here; fields are: {known}.", field=str(key))


def text(data: Data, key: str, *, longest: int = 200, one_line: bool = False) -> str | None:
    """The text without outer blanks, None when absent or empty; no control or invisible characters.

    `one_line` writes several lines as one instead of refusing their ends.
    """
    value = data.get(key)
    if value is None:
        return None
    if not isinstance(value, str):
        raise Invalid("field_type", f"“{key}” must be text.", field=key)
    trimmed = unicodedata.normalize("NFC", " ".join(value.split()) if one_line else value).strip()
    if any(c in _UNSEEN or unicodedata.category(c) in _CONTROL for c in trimmed):
        raise Invalid("field_control_character", f"“{key}” holds an invisible character; type it again.", field=key)
    if len(trimmed) > longest:
        raise Invalid("field_too_long", f"“{key}” is longer than {longest} characters; shorten it.", field=key)
    return trimmed or None


def whole(data: Data, key: str, *, lowest: int, highest: int) -> int | None:
    """The whole number, sent as a number or as plain digits; None when absent."""
    value = data.get(key)
    if value is None:
        return None
    if isinstance(value, str) and value.strip().isascii() and value.strip().isdigit() and len(value) <= 18:
        value = int(value)
    if isinstance(value, bool) or not isinstance(value, int):
        raise Invalid("field_type", f"“{key}” must be a whole number.", field=key)
    if not lowest <= value <= highest:
        raise Invalid("field_out_of_range", f"“{key}” must be from {lowest} to {highest}.", field=key)
    return value


def flag(data: Data, key: str) -> bool | None:
    """True or false as such, never a word or number for it; None when absent."""
    value = data.get(key)
    if value is not None and not isinstance(value, bool):
        raise Invalid("field_type", f"“{key}” must be true or false.", field=key)
    return value


def number(data: Data, key: str, *, unit_of_measure: str = "", max_digits: int = 18) -> Decimal | None:
    """The decimal number, sent as text so that its zeros stay; None when absent or empty."""
    value = data.get(key)
    if value is None or value == "":
        return None
    return one_number(value, key, unit_of_measure=unit_of_measure, max_digits=max_digits)


def one_number(value: object, key: str, *, unit_of_measure: str = "", max_digits: int = 18) -> Decimal:
    """The decimal number in a text, Decimal or whole number. A float is refused: nobody typed its digits."""
    if isinstance(value, bool) or not isinstance(value, str | Decimal | int):
        raise Invalid("field_type", f'“{key}” must be a number sent as text, such as "12.50".', field=key)
    with naming(key):
        typed = value if isinstance(value, str) else format(Decimal(value), "f")
        return parse_value(typed, units=(unit_of_measure,) if unit_of_measure else (), max_digits=max_digits)


def words(data: Data, key: str) -> list[str]:
    """A list of texts; empty when absent."""
    value = data.get(key)
    if value is None:
        return []
    if not isinstance(value, list | tuple | set | frozenset) or not all(isinstance(item, str) for item in value):
        raise Invalid("field_type", f"“{key}” must be a list of words.", field=key)
    return [str(item) for item in value]


def needed(value: object, key: str, hint: str) -> None:
    """Refuses an absent field; `hint` says what to give."""
    if value is None:
        raise Invalid("field_missing", f"“{key}” is missing; {hint}.", field=key)
