"""What a check found, in words: for checks that list all that is wrong at once."""

from __future__ import annotations

from dataclasses import asdict, dataclass


@dataclass(frozen=True)
class Finding:
    """One thing that is wrong. `code` never changes, `message` is for people, `place` a key or position."""

    code: str
    message: str
    place: str = ""

    def to_json(self) -> dict[str, object]:
        """The finding as plain values, as `errors.Problems` takes them."""
        return asdict(self)
