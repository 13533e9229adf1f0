"""The kinds of gauge that a frame shop usually has, each with its own questions: common practice, no source.

Plans name them by their keys. What is asked when one is added, at which points it is calibrated and what is looked at
then differs from kind to kind: a torque wrench is read at shares of its range, a pressure gauge rising and falling, a
plug gauge has a go and a no-go side and shows no value at all.
"""

from __future__ import annotations

from dataclasses import dataclass

USUAL_KINDS: dict[str, str] = {
    "caliper": "caliper",
    "micrometer": "micrometer",
    "bore_gauge": "bore gauge",
    "height_gauge": "height gauge",
    "angle_gauge": "angle gauge",
    "weld_gauge": "weld gauge",
    "dial_indicator": "dial indicator",
    "feeler_gauge": "feeler gauge",
    "thread_gauge": "thread gauge",
    "torque_wrench": "torque wrench",
    "pressure_gauge": "pressure gauge",
    "coating_gauge": "coating thickness gauge",
    "wall_gauge": "ultrasonic wall gauge",
    "hardness_tester": "hardness tester",
    "contact_thermometer": "contact thermometer",
    "surface_plate": "surface plate",
    "setting_master": "setting master",
    "alignment_bar": "alignment bar",
    "go_no_go_gauge": "go/no-go gauge",
    "portable_arm": "portable measuring arm",
}

Proposal = tuple[str, str]  # a series and where in it: "0.5" of the range, or "" where it is one value only


@dataclass(frozen=True)
class KindProfile:
    """What belongs to a kind of gauge.

    `series` are what its points are taken on, empty where there is one only; `proposed` are the usual points. With
    `reads` it shows a value of its own, so that a reading can be judged again with its error. With `adjustable` there
    is an as-left beside the as-found. `questions` are looked at in each calibration and answered by yes or no.
    """

    unit_of_measure: str = "mm"
    interval_months: int = 12
    range_label: str = "Measuring range"
    resolution_label: str = "Resolution"  # empty: it has none
    reference_label: str = "Reference"
    found_label: str = "As found"
    series: tuple[str, ...] = ()
    proposed: tuple[Proposal, ...] = ()
    reads: bool = True
    adjustable: bool = True
    questions: tuple[str, ...] = ()


def _at(*shares: str, of: str = "") -> tuple[Proposal, ...]:
    return tuple((of, share) for share in shares)


EVENLY = _at("0", "0.25", "0.5", "0.75", "1")
PLAIN = KindProfile(unit_of_measure="", proposed=EVENLY)  # of a kind that the shop added itself

PROFILES: dict[str, KindProfile] = {
    "caliper": KindProfile(
        series=("outside jaws", "inside jaws", "depth rod"),
        proposed=(
            *_at("0", "0.25", "0.5", "1", of="outside jaws"),
            *_at("0.25", "0.5", of="inside jaws"),
            *_at("0.25", of="depth rod"),
        ),
        questions=(
            "No light shows between the closed jaws",
            "Closed, it shows zero",
            "The slide runs without play",
            "The clamp does not move the reading",
        ),
    ),
    "micrometer": KindProfile(
        resolution_label="Scale division",
        proposed=EVENLY,
        questions=(
            "The measuring faces are flat and parallel",
            "On its setting piece it shows the marked value",
            "The ratchet turns freely",
        ),
    ),
    "bore_gauge": KindProfile(
        interval_months=6,
        resolution_label="Scale division",
        proposed=_at("0", "0.5", "1"),
        questions=("In its setting ring it shows the marked value", "The contacts are neither worn nor chipped"),
    ),
    "height_gauge": KindProfile(
        proposed=EVENLY,
        questions=(
            "On the surface plate it shows zero",
            "The scriber is straight and tight",
            "The base is free of burrs",
        ),
    ),
    "angle_gauge": KindProfile(
        unit_of_measure="°",
        proposed=EVENLY,
        questions=(
            "On a level plate it shows zero",
            "Turned end for end it shows the same",
            "Its edges are free of burrs",
        ),
    ),
    "weld_gauge": KindProfile(
        resolution_label="Scale division",
        series=("leg", "throat", "reinforcement", "undercut"),
        proposed=(
            *_at("0.25", "0.5", of="leg"),
            *_at("0.25", "0.5", of="throat"),
            *_at("0.1", of="reinforcement"),
            *_at("0.05", of="undercut"),
        ),
        questions=("Its edges and its tip are not worn", "The scale can be read"),
    ),
    "dial_indicator": KindProfile(
        resolution_label="Scale division",
        series=("going in", "coming out"),
        proposed=(*_at("0", "0.5", "1", of="going in"), *_at("0.5", "0", of="coming out")),
        questions=(
            "The spindle moves without sticking",
            "The pointer comes back to the same mark",
            "The contact is not worn flat",
        ),
    ),
    "feeler_gauge": KindProfile(
        range_label="Thinnest and thickest leaf",
        resolution_label="",
        reference_label="Leaf measured",
        found_label="Marked on it",
        adjustable=False,
        proposed=EVENLY,
        questions=("No leaf is bent, torn or rusty", "Each leaf is marked so that it can be read"),
    ),
    "thread_gauge": KindProfile(
        interval_months=24,
        range_label="Thread sizes",
        resolution_label="",
        reference_label="Pitch diameter measured",
        found_label="Pitch diameter due",
        series=("go side", "no-go side"),
        proposed=(("go side", ""), ("no-go side", "")),
        reads=False,
        adjustable=False,
        questions=(
            "The flanks of the go side are not worn",
            "It is free of burrs and rust",
            "Size and class are marked",
        ),
    ),
    "torque_wrench": KindProfile(
        unit_of_measure="N·m",
        range_label="Torque",
        resolution_label="Scale division",
        reference_label="Torque reached",
        found_label="Set to",
        proposed=_at("0.2", "0.6", "1"),
        questions=(
            "It was loaded at its highest torque before",
            "It trips cleanly each time",
            "Ratchet and lock hold",
            "It was kept unloaded",
        ),
    ),
    "pressure_gauge": KindProfile(
        unit_of_measure="kPa",
        series=("rising", "falling"),
        proposed=(*_at("0", "0.25", "0.5", "0.75", "1", of="rising"), *_at("0.5", "0.25", "0", of="falling")),
        questions=("Without pressure it shows zero", "Thread, glass and case are whole", "The line does not leak"),
    ),
    "coating_gauge": KindProfile(
        unit_of_measure="µm",
        proposed=_at("0", "0.1", "0.25", "0.5"),
        questions=("On the bare plate it shows zero", "The probe's tip is not worn", "The foils are whole"),
    ),
    "wall_gauge": KindProfile(
        proposed=_at("0.1", "0.25", "0.5", "1"),
        questions=(
            "It is set to the velocity of sound of the step block",
            "The probe's face is flat",
            "The lead makes good contact",
        ),
    ),
    "hardness_tester": KindProfile(
        unit_of_measure="",
        range_label="Hardness",
        reference_label="Reference block",
        proposed=_at("0", "0.5", "1"),
        questions=(
            "The indenter is whole under the magnifier",
            "Five readings on one block lie together",
            "The block has room between the old marks",
        ),
    ),
    "contact_thermometer": KindProfile(
        unit_of_measure="°C",
        range_label="Temperature",
        proposed=EVENLY,
        questions=("In melting ice it shows 0 °C", "Probe and lead are whole"),
    ),
    "surface_plate": KindProfile(
        interval_months=24,
        range_label="Length of the shorter and the longer side",
        resolution_label="",
        reference_label="Ideal",
        found_label="Deviation found",
        series=("flatness", "one place read again"),
        proposed=(("flatness", ""), ("one place read again", "")),
        reads=False,
        questions=("It stands level and does not rock", "No burr, chip or scratch where it is used", "It is clean"),
    ),
    "setting_master": KindProfile(
        interval_months=24,
        range_label="Smallest and largest size",
        resolution_label="",
        reference_label="Measured",
        found_label="Marked on it",
        proposed=(("", ""),),
        reads=False,
        adjustable=False,
        questions=("Its faces are free of scratches and rust", "Size and number are marked"),
    ),
    "alignment_bar": KindProfile(
        interval_months=24,
        range_label="Length it is straight over",
        resolution_label="",
        reference_label="Due",
        found_label="Measured",
        series=("straightness", "run-out", "diameter"),
        proposed=(("straightness", ""), ("run-out", ""), ("diameter", "")),
        reads=False,
        adjustable=False,
        questions=("It is free of dents and rust", "Its centres are clean", "It is kept lying or hanging, not leaning"),
    ),
    "go_no_go_gauge": KindProfile(
        interval_months=24,
        range_label="Go size and no-go size",
        resolution_label="",
        reference_label="Measured",
        found_label="Size due",
        series=("go side", "no-go side"),
        proposed=(("go side", ""), ("no-go side", "")),
        reads=False,
        adjustable=False,
        questions=("The go side is not worn", "It is free of burrs and rust", "The no-go side is marked red"),
    ),
    "portable_arm": KindProfile(
        series=("length", "one point again"),
        proposed=(*_at("0.1", "0.25", "0.5", "0.75", of="length"), *_at("0", of="one point again")),
        questions=(
            "It had warmed up",
            "The probe was set on its sphere before",
            "In its socket one point repeats from all sides",
            "The joints run without play",
        ),
    ),
}


def profile_of(kind_key: str) -> KindProfile:
    """What belongs to this kind; PLAIN for a kind that the shop added itself."""
    return PROFILES.get(kind_key, PLAIN)
