"""docs/security.md names tests that exist, and gives every requirement one of four states once."""

from __future__ import annotations

import re
from collections import Counter
from pathlib import Path

REPOSITORY = Path(__file__).resolve().parents[2]
TEXT = (REPOSITORY / "docs" / "security.md").read_text(encoding="utf-8")
ROWS = [
    [cell.strip() for cell in line.strip("|").split("|")]
    for line in TEXT.partition("## ASVS")[2].splitlines()
    if re.match(r"^\| (\d|V)", line)
]

# How many requirements of level 1 and 2 the sections of the standard have that the table answers one by one.
# Source: OWASP ASVS 5.0, folder 5.0/en of its repository, counted there.
REQUIREMENTS = {
    "1": 27,
    "2": 11,
    "3": 19,
    "4": 10,
    "5": 9,
    "6": 26,
    "7": 18,
    "8": 7,
    "11": 13,
    "12": 9,
    "13": 13,
    "14": 9,
    "15": 13,
    "16": 16,
}


def numbers() -> list[str]:
    return [number for row in ROWS for number in row[0].split(", ")]


def test_names_tests_that_exist() -> None:
    cited = re.findall(r"`(tests/[\w/]+\.py)(?:::(\w+))?`", TEXT)
    assert len(cited) > 50
    lost = [
        f"{file}::{name}"
        for file, name in cited
        if not (REPOSITORY / file).is_file()
        or (name and f"def {name}(" not in (REPOSITORY / file).read_text(encoding="utf-8"))
    ]
    assert lost == []


def test_gives_each_requirement_one_state_and_a_reason() -> None:
    assert {row[1] for row in ROWS} == {"met", "n/a", "accepted", "keeper"}
    assert all(len(row) == 3 and row[2] for row in ROWS)
    assert [number for number, times in Counter(numbers()).items() if times > 1] == []


def test_answers_every_requirement() -> None:
    counted = Counter(number.partition(".")[0] for number in numbers() if re.fullmatch(r"\d+\.\d+\.\d+", number))
    assert {chapter: counted[chapter] for chapter in REQUIREMENTS} == REQUIREMENTS
