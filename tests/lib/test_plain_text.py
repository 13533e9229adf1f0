"""Short texts that people type."""

from __future__ import annotations

import pytest

from qcapp.core.errors import Invalid
from qcapp.lib.plain_text import plain_text, shown


def test_takes_off_blanks_and_keeps_the_rest():
    assert plain_text("The reason", "  jaws bent, 0.1 mm – replaced ", longest=40) == "jaws bent, 0.1 mm – replaced"
    assert plain_text("The note", " ", longest=40, needed=False) == ""


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("", "text_missing"),
        (" \t", "text_missing"),
        ("x" * 41, "text_too_long"),
        ("a\0b", "text_not_plain"),
        ("a\nb", "text_not_plain"),
        ("a\ud800b", "text_not_plain"),
    ],
)
def test_refuses_what_is_missing_too_long_or_cannot_be_seen(text, code):
    with pytest.raises(Invalid) as caught:
        plain_text("The reason", text, longest=40)
    assert caught.value.code == code
    assert caught.value.message.startswith("The reason")


def test_a_refusal_repeats_only_what_can_be_shown():
    assert shown("FR\0-200\ud800\n" + "x" * 99, 12) == "FR-200xxx"
