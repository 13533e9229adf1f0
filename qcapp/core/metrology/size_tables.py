"""Tables of standards that go by size: written as text as they are printed, read into exact decimals."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal


@dataclass(frozen=True, slots=True)
class SizeRow:
    """One range of sizes in mm: over `over`, up to and including `to` (None: no upper end). Empty cells are
    absent.
    """

    over: Decimal
    to: Decimal | None
    cells: Mapping[str, Decimal]


def read_rows(text: str) -> tuple[SizeRow, ...]:
    """The rows of a table whose first line names its columns: over, to, then one column for each class; '-'
    is empty.
    """
    header, *lines = [line.split() for line in text.strip().splitlines()]
    return tuple(_row(header[2:], line) for line in lines)


def _row(names: Sequence[str], line: Sequence[str]) -> SizeRow:
    over, to, *cells = line
    present = {name: Decimal(cell) for name, cell in zip(names, cells, strict=True) if cell != "-"}
    return SizeRow(Decimal(over), None if to == "-" else Decimal(to), present)


def find_row(rows: Sequence[SizeRow], size: Decimal, *, from_first: bool = False) -> SizeRow | None:
    """The row whose range holds `size`, or None. `from_first`: the first range includes its lower end, as
    '0.5 up to 3'.
    """
    if from_first and size == rows[0].over:
        return rows[0]
    return next((row for row in rows if row.over < size and (row.to is None or size <= row.to)), None)
