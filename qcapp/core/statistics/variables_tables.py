"""Tables for inspection by variables, standard deviation unknown, laid out as printed.

Source: MIL-STD-414, 11 June 1957 (public domain), Tables A-2, B-1 (k) and B-3 (M, percent), normal
inspection. Confidence: A-2 and k were seen in a stored copy. M is from memory; every M here agrees with its
k through the estimator of `variables_sampling.estimated_percent`. Rows M to Q of B-1 and the M column from
letter I on were not at hand (`·`): plans that need those rows are refused, and a missing M is computed from
k.

An arrow means: use the first plan below in the same column, with the sample size of that plan.
"""

from __future__ import annotations

from decimal import Decimal
from functools import cache

VARIABLES_STANDARD = "MIL-STD-414:1957"
VARIABLES_LEVELS = ("I", "II", "III", "IV", "V")

# Table A-2. Lot size from the first number on, up to the next row's; sample size code letters per level.
CODE_LETTERS = """
lot       I   II  III   IV    V
3         B   B   B   B   C
9         B   B   B   B   D
16        B   B   B   C   E
26        B   B   B   D   F
41        B   B   C   E   G
66        B   B   D   F   H
111       B   C   E   G   I
181       B   D   F   H   J
301       C   E   G   I   K
501       D   F   H   J   L
801       E   G   I   K   L
1301      F   H   J   L   M
3201      G   I   L   M   N
8001      H   J   M   N   O
22001     I   K   N   O   P
110001    I   K   O   P   Q
550001    I   K   P   Q   Q
"""

# Table B-1: acceptability constant k.
K = """
letter   n    0.04  0.065   0.10   0.15   0.25   0.40   0.65    1.0    1.5    2.5    4.0    6.5     10     15
B        3       ↓      ↓      ↓      ↓      ↓      ↓      ↓      ↓      ↓   1.12  0.958  0.765  0.566  0.341
C        4       ↓      ↓      ↓      ↓      ↓      ↓      ↓   1.45   1.34   1.17   1.01  0.814  0.617  0.393
D        5       ↓      ↓      ↓      ↓      ↓      ↓   1.65   1.53   1.40   1.24   1.07  0.874  0.675  0.455
E        7       ↓      ↓      ↓      ↓   2.00   1.88   1.75   1.62   1.50   1.33   1.15  0.955  0.755  0.536
F       10       ↓      ↓      ↓   2.24   2.11   1.98   1.84   1.72   1.58   1.41   1.23   1.03  0.828  0.611
G       15    2.64   2.53   2.42   2.32   2.20   2.06   1.91   1.79   1.65   1.47   1.30   1.09  0.886  0.664
H       20    2.69   2.58   2.47   2.36   2.24   2.11   1.96   1.82   1.69   1.51   1.33   1.12  0.917  0.695
I       25    2.72   2.61   2.50   2.40   2.26   2.14   1.98   1.85   1.72   1.53   1.35   1.14  0.936  0.712
J       30    2.73   2.61   2.51   2.41   2.28   2.15   2.00   1.86   1.73   1.55   1.36   1.15  0.946  0.723
K       35    2.77   2.65   2.54   2.45   2.31   2.18   2.03   1.89   1.76   1.57   1.39   1.18  0.969  0.745
L       40    2.77   2.66   2.55   2.44   2.31   2.18   2.03   1.89   1.76   1.58   1.39   1.18  0.971  0.746
"""

# Table B-3: largest estimated percentage nonconforming, M.
M = """
letter   n    0.04  0.065   0.10   0.15   0.25   0.40   0.65    1.0    1.5    2.5    4.0    6.5     10     15
B        3       ↓      ↓      ↓      ↓      ↓      ↓      ↓      ↓      ↓   7.59  18.86  26.94  33.69  40.47
C        4       ↓      ↓      ↓      ↓      ↓      ↓      ↓   1.53   5.50  10.92  16.45  22.86  29.45  36.90
D        5       ↓      ↓      ↓      ↓      ↓      ↓   1.33   3.32   5.83   9.80  14.39  20.19  26.56  33.99
E        7       ↓      ↓      ↓      ↓      ·   1.06   2.14   3.55   5.35   8.40  12.20  17.35  23.29  30.50
F       10       ↓      ↓      ↓      ·      ·   1.30   2.17   3.26   4.77   7.29  10.54  15.17  20.74  27.57
G       15       ·      ·      ·      ·      ·      ·   2.11   3.05   4.31   6.56   9.46  13.71  18.94  25.61
H       20       ·      ·      ·      ·      ·      ·   2.05   2.95   4.09   6.17   8.92  12.99  18.03  24.53
I       25       ·      ·      ·      ·      ·      ·      ·      ·      ·      ·      ·      ·      ·      ·
J       30       ·      ·      ·      ·      ·      ·      ·      ·      ·      ·      ·      ·      ·      ·
K       35       ·      ·      ·      ·      ·      ·      ·      ·      ·      ·      ·      ·      ·      ·
L       40       ·      ·      ·      ·      ·      ·      ·      ·      ·      ·      ·      ·      ·      ·
"""

ARROW, UNKNOWN = "↓", "·"


@cache
def variables_cells(table: str) -> dict[tuple[str, Decimal], str]:
    """Every cell of a table text by code letter and AQL: an arrow, a number, or `·` where not at hand."""
    header, *rows = (line.split() for line in table.splitlines() if line)
    columns = [Decimal(text) for text in header[2:]]
    return {(row[0], aql): cell for row in rows for aql, cell in zip(columns, row[2:], strict=True)}


@cache
def variables_sample_sizes() -> dict[str, int]:
    """Sample size of each code letter, in the order of the table."""
    rows = [line.split() for line in K.splitlines() if line]
    return {row[0]: int(row[1]) for row in rows[1:]}


@cache
def variables_letter_rows() -> tuple[tuple[int, dict[str, str]], ...]:
    """Smallest lot size of each row of Table A-2 with its letters by level."""
    rows = [line.split() for line in CODE_LETTERS.splitlines() if line]
    return tuple((int(row[0]), dict(zip(VARIABLES_LEVELS, row[1:], strict=True))) for row in rows[1:])
