"""The colours of both themes against WCAG 2.2 (contrast ratio: relative luminance as defined there, from memory)."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

TOKENS = Path(__file__).resolve().parents[2] / "static" / "css" / "tokens.css"
TEXT, LARGE = 4.5, 3.0
VALUES_AND_VERDICTS = 7.0  # asked for on the floor, in bright light

# foreground, background, least ratio
PAIRS = [
    ("ink", "paper", VALUES_AND_VERDICTS),
    ("ink", "surface", VALUES_AND_VERDICTS),
    ("muted", "paper", TEXT),
    ("muted", "surface", TEXT),
    ("in", "in-wash", VALUES_AND_VERDICTS),
    ("near", "near-wash", VALUES_AND_VERDICTS),
    ("out", "out-wash", VALUES_AND_VERDICTS),
    ("in", "surface", VALUES_AND_VERDICTS),
    ("near", "surface", VALUES_AND_VERDICTS),
    ("out", "surface", VALUES_AND_VERDICTS),
    ("accent", "surface", VALUES_AND_VERDICTS),
    ("accent-ink", "accent", VALUES_AND_VERDICTS),
    ("ink", "accent-wash", VALUES_AND_VERDICTS),
    ("field-line", "surface", LARGE),
    ("open-mark", "surface", LARGE),
]


def _themes() -> dict[str, dict[str, str]]:
    text = TOKENS.read_text(encoding="utf-8")
    day = re.search(r"^:root \{(.*?)^\}", text, re.S | re.M)
    night = re.search(r'^:root\[data-theme="night"\] \{(.*?)^\}', text, re.S | re.M)
    assert day
    assert night
    read = re.compile(r"--([a-z-]+): (#[0-9A-Fa-f]{6});")
    first = dict(read.findall(day[1]))
    return {"day": first, "night": first | dict(read.findall(night[1]))}


def _luminance(colour: str) -> float:
    channels = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    """The contrast ratio of two colours, 1 to 21."""
    light, dark = sorted((_luminance(one), _luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


@pytest.mark.parametrize("theme", ["day", "night"])
@pytest.mark.parametrize(("front", "back", "least"), PAIRS)
def test_keeps_enough_contrast(theme: str, front: str, back: str, least: float) -> None:
    colours = _themes()[theme]
    assert contrast(colours[front], colours[back]) >= least, f"{theme}: {front} on {back}"


def test_knows_the_ends_of_the_scale() -> None:
    assert contrast("#000000", "#FFFFFF") == pytest.approx(21.0)
    assert contrast("#777777", "#FFFFFF") == pytest.approx(
        4.48, abs=0.01
    )  # a published pair just below AA, from memory


def test_follows_the_device_and_the_choice_with_the_same_night_colours() -> None:
    text = TOKENS.read_text(encoding="utf-8")
    read = re.compile(r"--([a-z-]+): (#[0-9A-Fa-f]{6});")
    by_device = text.split("@media screen and (prefers-color-scheme: dark)")[1].split(":root[data-theme")[0]
    assert dict(read.findall(by_device)).items() <= _themes()["night"].items()


# Matrices of Machado, Oliveira and Fernandes (2009) at full severity, from memory.
DEFICIENCIES = {
    "protanopia": ((0.152286, 1.052583, -0.204868), (0.114503, 0.786281, 0.099216), (-0.003882, -0.048116, 1.051998)),
    "deuteranopia": ((0.367322, 0.860646, -0.227968), (0.280085, 0.672501, 0.047413), (-0.011820, 0.042940, 0.968881)),
    "tritanopia": ((1.255528, -0.076749, -0.178779), (-0.078411, 0.930809, 0.147602), (0.004733, 0.691367, 0.303900)),
}


def _seen(colour: str, matrix: tuple[tuple[float, ...], ...]) -> str:
    channels = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    mixed = [sum(m * c for m, c in zip(row, channels, strict=True)) for row in matrix]
    return "#" + "".join(f"{round(min(max(c, 0), 1) * 255):02X}" for c in mixed)


@pytest.mark.parametrize("deficiency", DEFICIENCIES)
@pytest.mark.parametrize("theme", ["day", "night"])
def test_stays_readable_with_a_colour_vision_deficiency(theme: str, deficiency: str) -> None:
    """Words and marks carry the meaning; the colours must at least stay readable on their wash."""
    colours, matrix = _themes()[theme], DEFICIENCIES[deficiency]
    for name in ("in", "near", "out"):
        assert contrast(_seen(colours[name], matrix), _seen(colours[f"{name}-wash"], matrix)) >= TEXT, name
