"""Tables for inspection by attributes, single sampling, laid out as printed so that they can be compared.

Source: MIL-STD-105E, 10 May 1989 (public domain), Tables I, II-A, II-B and II-C; the same as ANSI/ASQ
Z1.4-2003 and ISO 2859-1:1989. ISO 2859-1:1999 has another reduced table, with a rejection number of one
above the acceptance number throughout: do not mix. Confidence: normal and tightened agree with a second
copy for AQL 0.65 to 15 (119 of 120 and 88 of 88 cells; the odd cell, letter A at AQL 10, is printed there
as an arrow up, but no plan exists above A, so the arrow points down). The rest is from memory and holds by
its structure. For the reduced table no second copy was found; rows A and B from AQL 15 up are the weakest.

An arrow means: use the first plan in that direction in the same column, with the sample size of that plan.
"""

from __future__ import annotations

from decimal import Decimal
from functools import cache

ATTRIBUTE_STANDARD = "MIL-STD-105E:1989"
LEVELS = ("S-1", "S-2", "S-3", "S-4", "I", "II", "III")

# Table I. Lot size from the first number on, up to the next row's; sample size code letters per level.
CODE_LETTERS = """
lot        S-1  S-2  S-3  S-4    I   II  III
2            A    A    A    A    A    A    B
9            A    A    A    A    A    B    C
16           A    A    B    B    B    C    D
26           A    B    B    C    C    D    E
51           B    B    C    C    C    E    F
91           B    B    C    D    D    F    G
151          B    C    D    E    E    G    H
281          B    C    D    E    F    H    J
501          C    C    E    F    G    J    K
1201         C    D    E    G    H    K    L
3201         C    D    F    G    J    L    M
10001        C    D    F    H    K    M    N
35001        D    E    G    J    L    N    P
150001       D    E    G    J    M    P    Q
500001       D    E    H    K    N    Q    R
"""

# Table II-A, normal inspection: acceptance numbers; the rejection number is one above.
NORMAL = """
letter    n  0.010 0.015 0.025 0.040 0.065  0.10  0.15  0.25  0.40  0.65   1.0   1.5   2.5   4.0
A         2      ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓
B         3      ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓     0
C         5      ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓     0     ↑
D         8      ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓     0     ↑     ↓
E        13      ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓     0     ↑     ↓     1
F        20      ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓     0     ↑     ↓     1     2
G        32      ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓     0     ↑     ↓     1     2     3
H        50      ↓     ↓     ↓     ↓     ↓     ↓     ↓     0     ↑     ↓     1     2     3     5
J        80      ↓     ↓     ↓     ↓     ↓     ↓     0     ↑     ↓     1     2     3     5     7
K       125      ↓     ↓     ↓     ↓     ↓     0     ↑     ↓     1     2     3     5     7    10
L       200      ↓     ↓     ↓     ↓     0     ↑     ↓     1     2     3     5     7    10    14
M       315      ↓     ↓     ↓     0     ↑     ↓     1     2     3     5     7    10    14    21
N       500      ↓     ↓     0     ↑     ↓     1     2     3     5     7    10    14    21     ↑
P       800      ↓     0     ↑     ↓     1     2     3     5     7    10    14    21     ↑     ↑
Q      1250      0     ↑     ↓     1     2     3     5     7    10    14    21     ↑     ↑     ↑
R      2000      ↑     ↑     1     2     3     5     7    10    14    21     ↑     ↑     ↑     ↑

letter    n    6.5    10    15    25    40    65   100   150   250   400   650  1000
A         2      0     ↓     ↓     1     2     3     5     7    10    14    21    30
B         3      ↑     ↓     1     2     3     5     7    10    14    21    30    44
C         5      ↓     1     2     3     5     7    10    14    21    30    44     ↑
D         8      1     2     3     5     7    10    14    21    30    44     ↑     ↑
E        13      2     3     5     7    10    14    21    30    44     ↑     ↑     ↑
F        20      3     5     7    10    14    21     ↑     ↑     ↑     ↑     ↑     ↑
G        32      5     7    10    14    21     ↑     ↑     ↑     ↑     ↑     ↑     ↑
H        50      7    10    14    21     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑
J        80     10    14    21     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑
K       125     14    21     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑
L       200     21     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑
M       315      ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑
N       500      ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑
P       800      ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑
Q      1250      ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑
R      2000      ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑
"""

# Table II-B, tightened inspection: acceptance numbers; the rejection number is one above.
TIGHTENED = """
letter    n  0.010 0.015 0.025 0.040 0.065  0.10  0.15  0.25  0.40  0.65   1.0   1.5   2.5   4.0
A         2      ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓
B         3      ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓
C         5      ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓     0
D         8      ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓     0     ↓
E        13      ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓     0     ↓     ↓
F        20      ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓     0     ↓     ↓     1
G        32      ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓     0     ↓     ↓     1     2
H        50      ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓     0     ↓     ↓     1     2     3
J        80      ↓     ↓     ↓     ↓     ↓     ↓     ↓     0     ↓     ↓     1     2     3     5
K       125      ↓     ↓     ↓     ↓     ↓     ↓     0     ↓     ↓     1     2     3     5     8
L       200      ↓     ↓     ↓     ↓     ↓     0     ↓     ↓     1     2     3     5     8    12
M       315      ↓     ↓     ↓     ↓     0     ↓     ↓     1     2     3     5     8    12    18
N       500      ↓     ↓     ↓     0     ↓     ↓     1     2     3     5     8    12    18     ↑
P       800      ↓     ↓     0     ↓     ↓     1     2     3     5     8    12    18     ↑     ↑
Q      1250      ↓     0     ↓     ↓     1     2     3     5     8    12    18     ↑     ↑     ↑
R      2000      0     ↑     ↓     1     2     3     5     8    12    18     ↑     ↑     ↑     ↑
S      3150      ·     ·     1     ·     ·     ·     ·     ·     ·     ·     ·     ·     ·     ·

letter    n    6.5    10    15    25    40    65   100   150   250   400   650  1000
A         2      ↓     ↓     ↓     ↓     1     2     3     5     8    12    18    27
B         3      0     ↓     ↓     1     2     3     5     8    12    18    27    41
C         5      ↓     ↓     1     2     3     5     8    12    18    27    41     ↑
D         8      ↓     1     2     3     5     8    12    18    27    41     ↑     ↑
E        13      1     2     3     5     8    12    18    27    41     ↑     ↑     ↑
F        20      2     3     5     8    12    18     ↑     ↑     ↑     ↑     ↑     ↑
G        32      3     5     8    12    18     ↑     ↑     ↑     ↑     ↑     ↑     ↑
H        50      5     8    12    18     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑
J        80      8    12    18     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑
K       125     12    18     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑
L       200     18     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑
M       315      ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑
N       500      ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑
P       800      ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑
Q      1250      ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑
R      2000      ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑
S      3150      ·     ·     ·     ·     ·     ·     ·     ·     ·     ·     ·     ·
"""

# Table II-C, reduced inspection: acceptance number/rejection number. A count between the two accepts the lot
# and brings back normal inspection.
REDUCED = """
letter    n  0.010 0.015 0.025 0.040 0.065  0.10  0.15  0.25  0.40  0.65   1.0   1.5   2.5   4.0
A         2      ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓
B         2      ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓   0/1
C         2      ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓   0/1     ↑
D         3      ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓   0/1     ↑     ↓
E         5      ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓   0/1     ↑     ↓   0/2
F         8      ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓   0/1     ↑     ↓   0/2   1/3
G        13      ↓     ↓     ↓     ↓     ↓     ↓     ↓     ↓   0/1     ↑     ↓   0/2   1/3   1/4
H        20      ↓     ↓     ↓     ↓     ↓     ↓     ↓   0/1     ↑     ↓   0/2   1/3   1/4   2/5
J        32      ↓     ↓     ↓     ↓     ↓     ↓   0/1     ↑     ↓   0/2   1/3   1/4   2/5   3/6
K        50      ↓     ↓     ↓     ↓     ↓   0/1     ↑     ↓   0/2   1/3   1/4   2/5   3/6   5/8
L        80      ↓     ↓     ↓     ↓   0/1     ↑     ↓   0/2   1/3   1/4   2/5   3/6   5/8  7/10
M       125      ↓     ↓     ↓   0/1     ↑     ↓   0/2   1/3   1/4   2/5   3/6   5/8  7/10 10/13
N       200      ↓     ↓   0/1     ↑     ↓   0/2   1/3   1/4   2/5   3/6   5/8  7/10 10/13     ↑
P       315      ↓   0/1     ↑     ↓   0/2   1/3   1/4   2/5   3/6   5/8  7/10 10/13     ↑     ↑
Q       500    0/1     ↑     ↓   0/2   1/3   1/4   2/5   3/6   5/8  7/10 10/13     ↑     ↑     ↑
R       800      ↑     ↑   0/2   1/3   1/4   2/5   3/6   5/8  7/10 10/13     ↑     ↑     ↑     ↑

letter    n    6.5    10    15    25    40    65   100   150   250   400   650  1000
A         2    0/1     ↓     ↓   1/2   2/3   3/4   5/6   7/8 10/11 14/15 21/22 30/31
B         2      ↑     ↓   0/2   1/3   2/4   3/5   5/6   7/8 10/11 14/15 21/22 30/31
C         2      ↓   0/2   1/3   1/4   2/5   3/6   5/8  7/10 10/13 14/17 21/24     ↑
D         3    0/2   1/3   1/4   2/5   3/6   5/8  7/10 10/13 14/17 21/24     ↑     ↑
E         5    1/3   1/4   2/5   3/6   5/8  7/10 10/13 14/17 21/24     ↑     ↑     ↑
F         8    1/4   2/5   3/6   5/8  7/10 10/13     ↑     ↑     ↑     ↑     ↑     ↑
G        13    2/5   3/6   5/8  7/10 10/13     ↑     ↑     ↑     ↑     ↑     ↑     ↑
H        20    3/6   5/8  7/10 10/13     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑
J        32    5/8  7/10 10/13     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑
K        50   7/10 10/13     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑
L        80  10/13     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑
M       125      ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑
N       200      ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑
P       315      ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑
Q       500      ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑
R       800      ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑     ↑
"""

TABLE_NAMES = {"normal": "Table II-A", "tightened": "Table II-B", "reduced": "Table II-C"}
_TEXTS = {"normal": NORMAL, "tightened": TIGHTENED, "reduced": REDUCED}
DOWN, UP = "↓", "↑"


@cache
def sample_sizes(severity: str) -> dict[str, int]:
    """Sample size of each code letter, in the order of the table."""
    rows = (line.split() for line in _TEXTS[severity].splitlines())
    return {row[0]: int(row[1]) for row in rows if row and row[0] != "letter"}


@cache
def cells(severity: str) -> dict[tuple[str, Decimal], str]:
    """Every cell of a master table by code letter and AQL: an arrow, `Ac` or `Ac/Re`."""
    found: dict[tuple[str, Decimal], str] = {}
    columns: list[Decimal] = []
    for row in (line.split() for line in _TEXTS[severity].splitlines()):
        if row and row[0] == "letter":
            columns = [Decimal(text) for text in row[2:]]
        elif row:
            entries = zip(columns, row[2:], strict=True)
            found.update({(row[0], aql): cell for aql, cell in entries if cell != "·"})
    return found


@cache
def acceptance_levels() -> tuple[Decimal, ...]:
    """The AQLs that the tables know, in percent nonconforming (to 10) or imperfections per 100 units
    (all)."""
    return tuple(sorted({aql for _, aql in cells("normal")}))


@cache
def code_letter_rows() -> tuple[tuple[int, dict[str, str]], ...]:
    """Smallest lot size of each row of Table I with its letters by level."""
    rows = [line.split() for line in CODE_LETTERS.splitlines() if line]
    return tuple((int(row[0]), dict(zip(LEVELS, row[1:], strict=True))) for row in rows[1:])
