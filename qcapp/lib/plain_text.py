"""Short texts that people type: names, reasons, numbers on labels."""

from __future__ import annotations

import unicodedata

from qcapp.core.errors import Invalid

_HIDDEN = frozenset({"Cc", "Cs"})  # control characters (NUL among them) and half characters


def plain_text(what: str, text: str, *, longest: int, needed: bool = True) -> str:
    """The text without blanks around it; `what` begins the sentence of a refusal ("The reason").

    Raises Invalid `text_missing`, `text_too_long` or `text_not_plain` (a control character, a NUL for
    example).
    """
    trimmed = text.strip()
    if needed and not trimmed:
        raise Invalid("text_missing", f"{what} is missing; write it.")
    if len(trimmed) > longest:
        raise Invalid("text_too_long", f"{what} is longer than {longest} characters; shorten it.")
    if any(unicodedata.category(character) in _HIDDEN for character in trimmed):
        raise Invalid("text_not_plain", f"{what} holds a character that cannot be seen; type it again.")
    return trimmed


def shown(text: str, longest: int = 40) -> str:
    """A typed text as a refusal may repeat it: shortened, without characters that cannot be seen."""
    return "".join(c for c in text[:longest] if unicodedata.category(c) not in _HIDDEN)
