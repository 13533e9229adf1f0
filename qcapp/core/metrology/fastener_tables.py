"""Proof loads of screws with coarse thread, as printed.

Source: ISO 898-1:2013 Table 5 (proof loads, coarse thread). Confidence: high; one stored copy of the table,
and nominal stress area times proof stress agrees within the rounding of the table. Minimum ultimate loads: a
stored copy of the EN ISO 898-1 table, where it had the cell. Loads in N, pitch in mm, stress area in mm²,
proof stress in MPa.

M10 8.8 is 33 700 N (580 MPa); a public example that uses 600 MPa is wrong for sizes up to M16.
"""

from __future__ import annotations

from decimal import Decimal
from typing import Final, NamedTuple

SOURCE: Final = "ISO 898-1:2013 Table 5 (proof loads, coarse thread)"

PROOF_STRESS: Final = {"8.8": Decimal(580), "10.9": Decimal(830), "12.9": Decimal(970)}
"""Nominal proof stress in MPa; for 8.8 it holds up to M16."""


class BoltRow(NamedTuple):
    """A line of the table; `loads` gives proof load and minimum ultimate load ("" where no copy had it)."""

    size: str
    pitch: str
    stress_area: str
    loads: dict[str, tuple[str, str]]


BOLTS: Final = (
    BoltRow("M5", "0.8", "14.2", {"8.8": ("8230", ""), "10.9": ("11800", ""), "12.9": ("13800", "")}),
    BoltRow("M6", "1", "20.1", {"8.8": ("11600", "16100"), "10.9": ("16700", "20900"), "12.9": ("19500", "")}),
    BoltRow("M7", "1", "28.9", {"8.8": ("16800", "23100"), "10.9": ("24000", "30100"), "12.9": ("28000", "")}),
    BoltRow("M8", "1.25", "36.6", {"8.8": ("21200", "29200"), "10.9": ("30400", "38100"), "12.9": ("35500", "")}),
    BoltRow("M10", "1.5", "58.0", {"8.8": ("33700", "46400"), "10.9": ("48100", "60300"), "12.9": ("56300", "")}),
    BoltRow("M12", "1.75", "84.3", {"8.8": ("48900", "67400"), "10.9": ("70000", "87700"), "12.9": ("81800", "")}),
    BoltRow("M14", "2", "115", {"8.8": ("66700", ""), "10.9": ("95500", ""), "12.9": ("112000", "")}),
)
