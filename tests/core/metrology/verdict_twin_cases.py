"""Cases on which the server and the tablet must agree, with answers that neither of them computed.

A seeded generator builds each text from parts whose value is known, each refusal from one known fault, and
each verdict with fractions. Write the file anew with `python -m tests.core.metrology.verdict_twin_cases`.
"""

from __future__ import annotations

import json
from fractions import Fraction
from random import Random
from typing import Any, Final

from tests.core.metrology.vectors import FOLDER, load

FILE: Final = "verdict_twin.json"
SEED: Final = 286
Case = dict[str, Any]

BLANKS: Final = ["", "", "", " ", "  ", "\t", "\u00a0", "\u202f", "\r\n"]
UNITS: Final = ["mm", "in", "N·m", "°", "µm", "kPa", "mm2"]
RULES: Final = ["half_even", "half_up"]


def all_cases() -> list[Case]:
    rng = Random(SEED)
    return [
        *hand_worked(),
        *(accepted(rng) for _ in range(500)),
        *(refused(rng) for _ in range(400)),
        *(judged(rng) for _ in range(1200)),
        *(refused_judgement(rng) for _ in range(150)),
        *(compared(rng) for _ in range(150)),
        *(rounded(rng) for _ in range(300)),
    ]


def hand_worked() -> list[Case]:
    """The edges of parsing.json, decision.json and rounding.json, worked by people."""
    parsing, decision, rounding = load("parsing.json"), load("decision.json"), load("rounding.json")
    cases = [parse(row, {"value": row["value"]}) for row in parsing["accepted"]]
    cases += [parse(row, {"code": row["code"]}) for row in parsing["refused"]]
    for row in decision["cases"]:
        expect = {name: row[name] for name in ("verdict", "deviation", "excess", "nearest_limit")}
        cases.append(judgement(row, decision["bands"][row["band"]], expect))
    for row in decision["refused_judgements"]:
        cases.append(judgement(row, decision["bands"][row["band"]], {"code": row["code"]}))
    for row in decision["refused_bands"]:
        cases.append(judgement({"value": "1"}, row["band"], {"code": row["code"]}))
    for row in rounding["cases"]:
        for rule in RULES if row["rule"] == "any" else [row["rule"]]:
            arguments = {"value": row["value"], "step": row["step"], "rule": rule}
            cases.append({"do": "round", **arguments, "expect": {"value": row["rounded"]}})
    return cases


def parse(row: Case, expect: Case) -> Case:
    names = ("text", "decimal_mark", "units", "max_digits")
    return {"do": "parse", **{name: row[name] for name in names if name in row}, "expect": expect}


def judgement(row: Case, band: Case, expect: Case) -> Case:
    names = ("rule", "expanded_uncertainty")
    given = {name: row[name] for name in names if name in row}
    return {"do": "judge", "text": row["value"], "band": band, **given, "expect": expect}


# ---- numbers as text ----


def digits(rng: Random, count: int) -> str:
    return "".join(rng.choice("0123456789") for _ in range(count))


def plain(scaled: int, places: int) -> str:
    """The number scaled / 10**places in plain digits."""
    text = str(abs(scaled)).rjust(places + 1, "0")
    whole, decimals = text[: len(text) - places], text[len(text) - places :]
    return ("-" if scaled < 0 else "") + whole + ("." + decimals if decimals else "")


def places_of(text: str) -> int:
    return len(text.partition(".")[2])


def scaled_to(text: str, places: int) -> int:
    return int(Fraction(text) * 10**places)


# ---- reading ----


def accepted(rng: Random) -> Case:
    """A number in some dress, whose plain text is known."""
    whole, decimals = (
        digits(rng, rng.randrange(0, 10)).lstrip("0"),
        digits(rng, rng.choice([0, 1, 2, 3, 4, 8])),
    )
    mark = rng.choice(".,")
    sign = rng.choice(["", "", "+", "-", "−"])
    zeros = "0" * rng.choice([0, 0, 0, 1, 3])
    shown = zeros + whole or ("" if decimals and rng.random() < 0.5 else "0")
    body = shown + (mark + decimals if decimals else "")
    suffix = rng.choice(["", "", *UNITS])
    text = f"{rng.choice(BLANKS)}{sign}{rng.choice(['', '', ' '])}{body}{rng.choice(['', ' '])}{suffix}"
    value = (whole or "0") + ("." + decimals if decimals else "")
    negative = sign in ("-", "−") and value.strip("0.") != ""
    case: Case = {
        "do": "parse",
        "text": text + rng.choice(BLANKS),
        "expect": {"value": "-" * negative + value},
    }
    if suffix:
        case["units"] = [rng.choice(UNITS), suffix]
    if decimals and rng.random() < 0.3:
        case["decimal_mark"] = mark
    return case


def refused(rng: Random) -> Case:
    """A number with one fault."""
    good = plain(rng.randrange(1, 10**6), rng.randrange(1, 5))
    fault = rng.choice(list(FAULTS))
    text, more = FAULTS[fault](rng, good)
    return {"do": "parse", "text": text, **more, "expect": {"code": fault.partition(" ")[0]}}


FAULTS: Final[dict[str, Any]] = {
    "value_empty": lambda rng, good: ("".join(rng.choice(BLANKS) for _ in range(4)), {}),
    "value_two_marks": lambda rng, good: (good + rng.choice(".,") + digits(rng, 2), {}),
    "value_two_marks grouped": lambda rng, good: (
        f"{rng.randrange(1, 999)}.{digits(rng, 3)},{digits(rng, 2)}",
        {},
    ),
    "value_fraction": lambda rng, good: (
        f"{rng.randrange(9)}{rng.choice(['/', '⁄'])}{rng.choice('248')}",
        {},
    ),
    "value_fraction sign": lambda rng, good: (rng.choice(["", "3 ", "12"]) + rng.choice("½¼¾⅛⅜"), {}),
    "value_mark_unexpected": lambda rng, good: (good, {"decimal_mark": ","}),
    "value_mark_unexpected comma": lambda rng, good: (good.replace(".", ","), {"decimal_mark": "."}),
    "value_unfinished": lambda rng, good: (good.partition(".")[0] + rng.choice(".,"), {}),
    "value_unit_unexpected": lambda rng, good: (
        f"{good} {rng.choice(['mm', 'in', 'kN', 'Ω', '😀'])}",
        {"units": ["bar"]},
    ),
    "value_unit_unexpected none": lambda rng, good: (
        good + rng.choice(["mm", '"', "m", "E", "e+", "x5"]),
        {},
    ),
    "value_not_a_number": lambda rng, good: (
        good + rng.choice(["e5", "E-3", "e+2", " 5", "+1", "*2", "^2", "×10"]),
        {},
    ),
    "value_not_a_number sign": lambda rng, good: (
        rng.choice(["--", "±", "<", ">", "~", "=", "mm ", "++", "٣"]) + good,
        {},
    ),
    "value_not_a_number word": lambda rng, good: (
        rng.choice(["NaN", "inf", "-inf", "Infinity", "ok", "-", ".", "−,"]),
        {},
    ),
    "value_too_long": lambda rng, good: (f"{rng.randrange(1, 9)}{digits(rng, 18 + rng.randrange(4))}", {}),
    "value_too_long decimals": lambda rng, good: ("0." + digits(rng, 19), {}),
    "value_too_long few": lambda rng, good: (f"1{digits(rng, 3)}.{digits(rng, 3)}", {"max_digits": 6}),
    "value_too_long text": lambda rng, good: ("0" * 64 + good, {}),
}


# ---- judging ----


def judged(rng: Random) -> Case:
    """A band, a value at or about one of its edges, and the verdict by its definition."""
    places = rng.choice([0, 1, 2, 2, 3, 3, 4, 6, 9, 14])
    band = any_band(rng, places)
    row: Case = {"value": ""}
    if rng.random() < 0.4:
        row |= {
            "rule": "guarded",
            "expanded_uncertainty": plain(rng.choice([0, 1, rng.randrange(0, 10**4)]), places),
        }
    row["value"] = near_an_edge(rng, band, row.get("expanded_uncertainty", band["guard"]), places)
    expect = by_definition(row["value"], band, row)
    if rng.random() < 0.3:
        row["value"] = row["value"].replace(".", ",").replace("-", "−")
    return judgement(row, band, expect)


def any_band(rng: Random, places: int) -> Case:
    lower = rng.choice([0, 0, rng.randrange(-(10**6), 10**6), rng.randrange(-(10**11), 10**11)])
    width = rng.choice([0, 1, 2, rng.randrange(1, 10**4), rng.randrange(1, 10**8)])
    natural = rng.choice([[], [], [], ["lower"], ["upper"], ["lower", "upper"]])
    zones = 2 - len(natural)
    guard = rng.choice([0, 0, width // zones if zones else width, rng.randrange(0, (width // max(zones, 1)) + 1)])
    is_open = rng.choice(["", "", "", "lower", "upper"])
    zeros = "0" * rng.choice([0, 0, 1, 2]) if places else ""
    band: Case = {
        "lower": None if is_open == "lower" else plain(lower, places),
        "upper": None if is_open == "upper" else plain(lower + width, places) + zeros,
        "guard": plain(guard, places),
        "natural": natural,
    }
    if rng.random() < 0.6:
        band["nominal"] = plain(lower + rng.randrange(0, width + 1), places)
    elif rng.random() < 0.3:
        band |= {"nominal": plain(lower - rng.randrange(1, 50), places), "allow_outside_nominal": True}
    return band


def near_an_edge(rng: Random, band: Case, guard: str, places: int) -> str:
    finer = places + rng.choice([0, 0, 1, 3])
    limits = [scaled_to(band[side], finer) for side in ("lower", "upper") if band[side] is not None]
    zone = scaled_to(guard, finer)
    edges = [*limits, *(limit + zone for limit in limits), *(limit - zone for limit in limits)]
    edges.append(sum(limits) // len(limits))
    step = rng.choice([0, 0, -1, 1, -1, 1, rng.randrange(-99, 100), rng.randrange(-(10**7), 10**7)])
    return plain(rng.choice(edges) + step, finer)


def by_definition(value: str, band: Case, row: Case) -> Case:
    """The verdict with fractions: outside the limits, or outside the limits less the guard, or in band."""
    x = Fraction(value)
    limits = {side: Fraction(band[side]) for side in ("lower", "upper") if band[side] is not None}
    guard = Fraction(row["expanded_uncertainty"] if row.get("rule") == "guarded" else band["guard"])
    room = {side: x - limit if side == "lower" else limit - x for side, limit in limits.items()}
    expect: Case = {"deviation": difference(value, band.get("nominal"), 1), "excess": "0"}
    broken = [side for side in room if room[side] < 0]
    if broken:
        sign = -1 if broken[0] == "lower" else 1
        excess = difference(value, band[broken[0]], sign)
        return {"verdict": "out_of_band", **expect, "excess": excess, "nearest_limit": broken[0]}
    left = {side: distance for side, distance in room.items() if side not in band["natural"]}
    verdict = "near_limit" if any(distance < guard for distance in left.values()) else "in_band"
    nearest = min(left, key=lambda side: (left[side], side == "lower")) if left else None
    return {"verdict": verdict, **expect, "nearest_limit": nearest}


def difference(first: str, second: str | None, sign: int) -> str | None:
    if second is None:
        return None
    places = max(places_of(first), places_of(second))
    return plain(sign * (scaled_to(first, places) - scaled_to(second, places)), places)


def refused_judgement(rng: Random) -> Case:
    """A sound value with one fault in the band or in the rule."""
    low, width = rng.randrange(-999, 999), rng.randrange(2, 99)
    band: Case = {"lower": plain(low, 2), "upper": plain(low + width, 2)}
    row: Case = {"value": plain(low, 2)}
    fault = rng.choice(list(JUDGEMENT_FAULTS))
    in_band, in_row = JUDGEMENT_FAULTS[fault](rng, low, width)
    return judgement(row | in_row, band | in_band, {"code": fault.partition(" ")[0]})


JUDGEMENT_FAULTS: Final[dict[str, Any]] = {
    "limits_missing": lambda rng, low, width: ({"lower": None, "upper": None}, {}),
    "limits_crossed": lambda rng, low, width: ({"upper": plain(low - rng.randrange(1, 9), 2)}, {}),
    "nominal_outside": lambda rng, low, width: ({"nominal": plain(low - rng.randrange(1, 9), 2)}, {}),
    "nominal_outside above": lambda rng, low, width: ({"nominal": plain(low + width + 1, 2)}, {}),
    "guard_negative": lambda rng, low, width: ({"guard": plain(-rng.randrange(1, 99), 2)}, {}),
    "guard_swallows_band": lambda rng, low, width: ({"guard": plain(width // 2 + 1, 2)}, {}),
    "guard_swallows_band one side": lambda rng, low, width: (
        {"guard": plain(width + 1, 2), "natural": [rng.choice(["lower", "upper"])]},
        {},
    ),
    "limit_not_decimal": lambda rng, low, width: (
        {"upper": rng.choice(["1e9", "1,5", " 1", "+1", "1.", ".5", "", "9" * 65])},
        {},
    ),
    "limit_not_decimal number": lambda rng, low, width: ({"lower": rng.choice([1, 0, 2.5, True])}, {}),
    "natural_unknown": lambda rng, low, width: (
        {"natural": rng.choice([["left"], "both", ["lower", "x"], [1]])},
        {},
    ),
    "uncertainty_missing": lambda rng, low, width: ({}, {"rule": "guarded"}),
    "uncertainty_negative": lambda rng, low, width: (
        {},
        {"rule": "guarded", "expanded_uncertainty": plain(-rng.randrange(1, 99), 3)},
    ),
    "rule_unknown": lambda rng, low, width: ({}, {"rule": rng.choice(["Simple", "", "strict"])}),
    "value_two_marks": lambda rng, low, width: ({}, {"value": "1.000,5"}),
}


# ---- comparing and rounding ----


def compared(rng: Random) -> Case:
    places = rng.randrange(0, 6)
    first = rng.randrange(-(10**9), 10**9)
    second = first + rng.choice([0, 0, 1, -1, rng.randrange(-(10**9), 10**9)])
    zeros = rng.randrange(0, 4)
    order = (first > second) - (first < second)
    texts = {"first": plain(first, places), "second": plain(second * 10**zeros, places + zeros)}
    return {"do": "compare", **texts, "expect": {"order": order}}


def rounded(rng: Random) -> Case:
    """Nearest multiple, found by looking at both neighbours."""
    places = rng.randrange(0, 5)
    step = rng.choice([1, 1, 1, 2, 5, 25])
    multiple, finer = rng.randrange(-(10**5), 10**5), rng.choice([1, 2, 4])
    offset = rng.choice([0, 5 * 10 ** (finer - 1), rng.randrange(0, 10**finer)])
    value = Fraction(step * (multiple * 10**finer + offset), 10 ** (places + finer))
    rule = rng.choice(RULES)
    found = nearest_multiple(value / Fraction(step, 10**places), rule)
    text = plain(int(value * 10 ** (places + finer)), places + finer)
    arguments = {"value": text, "step": plain(step, places), "rule": rule}
    return {"do": "round", **arguments, "expect": {"value": plain(found * step, places)}}


def nearest_multiple(quotient: Fraction, rule: str) -> int:
    below = quotient.numerator // quotient.denominator
    down, up = quotient - below, below + 1 - quotient
    if down != up:
        return below if down < up else below + 1
    if rule == "half_even":
        return below if below % 2 == 0 else below + 1
    return below if quotient < 0 else below + 1


def as_file(cases: list[Case]) -> str:
    """One case on each line, so that a change is seen in its line."""
    lines = ",\n".join("    " + json.dumps(case, ensure_ascii=True) for case in cases)
    about = "Made by tests/core/metrology/verdict_twin_cases.py, which says how the answers are known."
    return f'{{\n  "about": "{about}",\n  "cases": [\n{lines}\n  ]\n}}\n'


if __name__ == "__main__":
    (FOLDER / FILE).write_text(as_file(all_cases()), encoding="utf-8")
