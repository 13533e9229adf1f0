"""Serial numbers and vehicle identification numbers: form, check digit, and looking them up.

Sources: 49 CFR 565.13 and 565.15 (character set, Tables III to VII, small makers), ISO 3779:2009 (structure).
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from qcapp.core.errors import Invalid, Refused
from qcapp.core.findings import Finding

# 49 CFR 565.15 Table III: assigned value of each letter; I, O and Q are never used.
_LETTER_VALUES = dict(
    zip(
        "ABCDEFGHJKLMNPRSTUVWXYZ",
        (1, 2, 3, 4, 5, 6, 7, 8, 1, 2, 3, 4, 5, 7, 9, 2, 3, 4, 5, 6, 7, 8, 9),
        strict=True,
    )
)
_VALUES = {**{str(digit): digit for digit in range(10)}, **_LETTER_VALUES}
# 49 CFR 565.15 Table IV: weight of each position, the check digit in position 9 counts nothing.
_WEIGHTS = (8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2)
_YEAR_CODES = frozenset("ABCDEFGHJKLMNPRSTVWXY123456789")  # Table VII: no I, O, Q, U, Z, 0
VIN_LENGTH = 17


def vin_check_digit(vin: str) -> str:
    """What position 9 must hold, `0` to `9` or `X` (49 CFR 565.15(c)); whatever stands there now is ignored.

    Raises Invalid `vin_length` or `vin_character`.
    """
    findings = _vin_characters(vin)
    if findings:
        raise Invalid(findings[0].code, findings[0].message)
    remainder = sum(_VALUES[character] * weight for character, weight in zip(vin, _WEIGHTS, strict=True)) % 11
    return "X" if remainder == 10 else str(remainder)


def _vin_characters(vin: str) -> list[Finding]:
    findings = []
    if len(vin) != VIN_LENGTH:
        findings.append(Finding("vin_length", f"A VIN has 17 characters, this has {len(vin)}; read it again."))
    for position, character in enumerate(vin, start=1):
        if character not in _VALUES:
            message = f"“{character}” in position {position} is not used in a VIN; use 0-9 and A-Z without I, O, Q."
            findings.append(Finding("vin_character", message, str(position)))
    return findings


def check_vin(vin: str, *, north_america: bool = True) -> list[Finding]:
    """Everything that is wrong with the VIN; an empty list when it is well formed.

    The check digit and the model year code are rules for vehicles for North America (49 CFR 565.15); a VIN
    from elsewhere (ISO 3779) need not follow them: `north_america=False` leaves them out. Codes:
    `vin_length`, `vin_character`, `vin_check_position`, `vin_check_digit`, `vin_year`, `vin_end`.
    """
    findings = _vin_characters(vin)
    if findings:
        return findings
    if north_america:
        findings = _vin_check_digit(vin) + _vin_year(vin)
    return findings + _vin_end(vin)


def _vin_check_digit(vin: str) -> list[Finding]:
    found, wanted = vin[8], vin_check_digit(vin)
    if found not in "0123456789X":
        message = f"Position 9 is “{found}”; the check digit is 0 to 9 or X."
        return [Finding("vin_check_position", message, "9")]
    if found != wanted:
        message = f"The check digit in position 9 is {found} and should be {wanted}; read the VIN again."
        return [Finding("vin_check_digit", message, "9")]
    return []


def _vin_year(vin: str) -> list[Finding]:
    if vin[9] in _YEAR_CODES:
        return []
    return [Finding("vin_year", f"“{vin[9]}” in position 10 stands for no model year.", "10")]


def _vin_end(vin: str) -> list[Finding]:
    """The end is numeric: four characters, or three where positions 12 to 14 complete a small maker's code.

    The number of digits is from memory of ISO 3779 and 49 CFR 565.15(d).
    """
    digits = 3 if vin[2] == "9" else 4
    if vin[-digits:].isdigit():
        return []
    return [Finding("vin_end", f"The last {digits} characters must be digits.", str(VIN_LENGTH + 1 - digits))]


# ------------------------------------------------------------------------------------------ serial numbers

_FIELD = re.compile(r"\{(number|year):([0-9]{1,2})\}")
_LITERAL = re.compile(r"[A-Z0-9./-]*")
MAX_SERIAL_LENGTH = 40


@dataclass(frozen=True)
class SerialPattern:
    """The form of a part family's serial numbers, such as `FR-200-{number:4}` or `AX-{year:2}-{number:5}`."""

    pattern: str
    parts: tuple[tuple[str, str], ...]  # ("text", "FR-"), ("number", "4"), ("year", "2")

    @property
    def digits(self) -> int:
        """How many digits the running number has."""
        return next(int(content) for kind, content in self.parts if kind == "number")

    @property
    def year_digits(self) -> int | None:
        """How many digits of the year stand in the serial; None without a year."""
        return next((int(content) for kind, content in self.parts if kind == "year"), None)

    @property
    def example(self) -> str:
        """How the first serial looks, with zeros for the year."""
        return self._written(1, 0)

    def matches(self, serial: str) -> bool:
        """True when the serial has this form and its running number is not zero."""
        return not self.check(serial)

    def check(self, serial: str) -> list[Finding]:
        """What is wrong with the serial: `serial_form`, or `serial_zero` as running numbers begin at 1."""
        found = self._regex.fullmatch(serial)
        if not found:
            message = f"“{serial}” does not have the form {self.pattern}, like {self.example}; read it again."
            return [Finding("serial_form", message)]
        if int(found["number"]) == 0:
            return [Finding("serial_zero", f"“{serial}” has the running number zero; numbers begin at 1.")]
        return []

    def number(self, serial: str) -> int:
        """The running number in the serial. Raises Invalid `serial_form` or `serial_zero`."""
        return int(self._read(serial)["number"])

    def next(self, last: str | None, *, year: int | None = None) -> str:
        """The serial after `last`, or the first; with a year in the pattern numbers begin again each year.

        Raises Invalid `serial_form`, `serial_zero` or `year_missing`, and Refused `serials_used_up` or
        `serial_year_earlier` when the year lies before that of `last`.
        """
        short_year = self._short_year(year)
        if last is None:
            return self._written(1, short_year)
        found = self._read(last)
        number = int(found["number"]) + 1
        if self.year_digits and int(found["year"]) != short_year:
            self._refuse_earlier(int(found["year"]), short_year, last)
            number = 1
        return self._written(number, short_year)

    @property
    def _regex(self) -> re.Pattern[str]:
        written = {"text": re.escape}
        named = "".join(
            written[kind](content) if kind == "text" else f"(?P<{kind}>[0-9]{{{content}}})"
            for kind, content in self.parts
        )
        return re.compile(named)

    def _read(self, serial: str) -> re.Match[str]:
        findings = self.check(serial)
        found = self._regex.fullmatch(serial)
        if findings or not found:
            raise Invalid(findings[0].code, findings[0].message)
        return found

    def _short_year(self, year: int | None) -> int:
        if self.year_digits is None:
            return 0
        if year is None or not 1900 <= year <= 9999:
            raise Invalid("year_missing", f"Serials of the form {self.pattern} need a year of four digits.")
        return year % (100 if self.year_digits == 2 else 10_000)

    def _refuse_earlier(self, last_year: int, year: int, last: str) -> None:
        cycle = 100 if self.year_digits == 2 else 10_000
        if (year - last_year) % cycle > cycle // 2:  # two digits go round every century
            raise Refused("serial_year_earlier", f"{last} is of a later year; check the date before numbering on.")

    def _written(self, number: int, short_year: int) -> str:
        if number >= 10**self.digits:
            message = f"The numbers of {self.pattern} are used up; give the part family a longer pattern."
            raise Refused("serials_used_up", message)
        values = {"number": number, "year": short_year}
        return "".join(content if kind == "text" else f"{values[kind]:0{content}d}" for kind, content in self.parts)


def serial_pattern(pattern: str) -> SerialPattern:
    """The pattern, read: capitals, digits and `- . /`, one `{number:4}` and at most one `{year:2}`.

    Raises Invalid `serial_pattern`.
    """
    parts: list[tuple[str, str]] = []
    position = 0
    for field in _FIELD.finditer(pattern):
        parts += [("text", pattern[position : field.start()]), (field[1], field[2])]
        position = field.end()
    parts = [part for part in [*parts, ("text", pattern[position:])] if part[1]]
    _check_parts(pattern, parts)
    return SerialPattern(pattern, tuple((kind, text if kind == "text" else str(int(text))) for kind, text in parts))


def _check_parts(pattern: str, parts: list[tuple[str, str]]) -> None:
    texts = [content for kind, content in parts if kind == "text"]
    numbers = [int(content) for kind, content in parts if kind == "number"]
    years = [int(content) for kind, content in parts if kind == "year"]
    if not all(_LITERAL.fullmatch(text) for text in texts):
        problem = "besides its fields it may hold capitals, digits and - . / only"
    elif len(numbers) != 1 or not 1 <= numbers[0] <= 9:
        problem = "it needs exactly one {number:n} with 1 to 9 digits"
    elif len(years) > 1 or (years and years[0] not in (2, 4)):
        problem = "it may hold one {year:2} or {year:4}"
    elif sum(map(len, texts)) + sum(numbers) + sum(years) > MAX_SERIAL_LENGTH:
        problem = f"its serials would be longer than {MAX_SERIAL_LENGTH} characters"
    else:
        return
    raise Invalid("serial_pattern", f"“{pattern}” is no pattern for serials: {problem}. Example: FR-200-{{number:4}}.")


_NOT_LOOKED_AT = re.compile(r"[\s\-_\u00ad\u2010-\u2015\u2212]")


def lookup_key(text: str) -> str:
    """The text as compared in a search: capitals, O as 0, I as 1, no spaces, no dashes.

    For looking up only: different serials may share a key, so it never decides which unit a result belongs
    to.
    """
    return _NOT_LOOKED_AT.sub("", text.upper()).replace("O", "0").replace("I", "1")
