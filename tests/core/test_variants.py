"""Order options: which unit meets which condition."""

from __future__ import annotations

import pytest

from qcapp.core.errors import Invalid
from qcapp.core.variants import asked_on, read_condition, read_options


@pytest.mark.parametrize(
    ("condition", "variant", "asked"),
    [
        ("", "", True),
        ("", "left", True),
        ("left", "left; sidecar", True),
        ("left; right", "RIGHT", True),
        ("left", "", False),
        ("left", "left-hand", False),
        ("not trailer", "", True),
        ("not trailer", "left, trailer", False),
        ("left; not trailer", "left", True),
        ("left; not trailer", "left; trailer", False),
        ("left; not trailer", "right", False),
    ],
)
def test_asks_on_the_units_that_meet_the_condition(condition: str, variant: str, asked: bool) -> None:
    assert asked_on(condition, variant) is asked


def test_reads_options_in_small_letters_each_once() -> None:
    assert read_options(" Left ;; sidecar,LEFT ") == ("left", "sidecar")
    assert read_condition("Left;  NOT  Trailer") == "left; not trailer"


@pytest.mark.parametrize("text", ["left; not left", "!", "not ;", "x" * 60])
def test_refuses_a_condition_that_cannot_be_meant(text: str) -> None:
    with pytest.raises(Invalid) as refusal:
        read_condition(text)
    assert refusal.value.code == "condition_not_understood"
