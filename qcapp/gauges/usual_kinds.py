"""The kinds of gauge that a frame shop usually has: common practice, no source. Plans name them by their keys."""

from __future__ import annotations

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
