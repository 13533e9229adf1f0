"""Tables of general tolerances, laid out as in the standards: sizes in mm (over, up to and including).

ISO 2768-1:1989 and ISO 2768-2:1989 (withdrawn in 2021, kept for old drawings; the year of withdrawal is from
memory); ISO 13920:2023, whose numbers are those of the 1996 edition (from memory). Part 1 of ISO 2768 and the
linear table of ISO 13920 were compared with three or more independent copies: confidence high. Less sure
cells are named at their table. Rows that some public copies add above 4000 mm are not in ISO 2768-1; copies
of ISO 13920 that print 4 for class B at 500 mm have dropped the merged first range.
"""

from __future__ import annotations

from typing import Final

from qcapp.core.metrology.size_tables import read_rows

LINEAR_2768: Final = read_rows(
    """
over   to    f   m   c   v
 0.5    3 0.05 0.1 0.2   -
   3    6 0.05 0.1 0.3 0.5
   6   30  0.1 0.2 0.5   1
  30  120 0.15 0.3 0.8 1.5
 120  400  0.2 0.5 1.2 2.5
 400 1000  0.3 0.8   2   4
1000 2000  0.5 1.2   3   6
2000 4000    -   2   4   8
"""
)
"""ISO 2768-1:1989, Table 1: linear sizes except broken edges, ± mm. The first range is 0.5 up to 3."""

EDGES_2768: Final = read_rows(
    """
over to   f   m   c   v
 0.5  3 0.2 0.2 0.4 0.4
   3  6 0.5 0.5   1   1
   6  -   1   1   2   2
"""
)
"""ISO 2768-1:1989, Table 2: external radii and chamfer heights, ± mm. The first range is 0.5 up to 3."""

ANGLES_2768: Final = read_rows(
    """
over  to  f  m  c   v
   0  10 60 60 90 180
  10  50 30 30 60 120
  50 120 20 20 30  60
 120 400 10 10 15  30
 400   -  5  5 10  20
"""
)
"""ISO 2768-1:1989, Table 3: angles by the length of the shorter side, ± minutes."""

STRAIGHTNESS_2768: Final = read_rows(
    """
over   to    H    K   L
   0   10 0.02 0.05 0.1
  10   30 0.05  0.1 0.2
  30  100  0.1  0.2 0.4
 100  300  0.2  0.4 0.8
 300 1000  0.3  0.6 1.2
1000 3000  0.4  0.8 1.6
"""
)
"""ISO 2768-2:1989, Table 1: straightness and flatness by the longer side, mm. Two copies."""

PERPENDICULARITY_2768: Final = read_rows(
    """
over   to   H   K   L
   0  100 0.2 0.4 0.6
 100  300 0.3 0.6   1
 300 1000 0.4 0.8 1.5
1000 3000 0.5   1   2
"""
)
"""ISO 2768-2:1989, Table 2: by the shorter side, mm. One copy, which prints 0.8 for L to 100; 0.6 is from
memory.
"""

SYMMETRY_2768: Final = read_rows(
    """
over   to   H   K   L
   0  100 0.5 0.6 0.6
 100  300 0.5 0.6   1
 300 1000 0.5 0.8 1.5
1000 3000 0.5   1   2
"""
)
"""ISO 2768-2:1989, Table 3, mm. From memory."""

RUN_OUT_2768: Final = read_rows(
    """
over to   H   K   L
   0  - 0.1 0.2 0.5
"""
)
"""ISO 2768-2:1989, Table 4: circular run-out, mm, of any size. From memory."""

LINEAR_13920: Final = read_rows(
    """
 over    to A  B  C  D
    2    30 1  1  1  1
   30   120 1  2  3  4
  120   400 1  2  4  7
  400  1000 2  3  6  9
 1000  2000 3  4  8 12
 2000  4000 4  6 11 16
 4000  8000 5  8 14 21
 8000 12000 6 10 18 27
12000 16000 7 12 21 32
16000 20000 8 14 24 36
20000     - 9 16 27 40
"""
)
"""ISO 13920:2023, Table 1: linear sizes, ± mm. The first range is 2 to 30 (both ends: from memory)."""

ANGLES_13920: Final = read_rows(
    """
over   to  A  B  C  D
   0  400 20 45 60 90
 400 1000 15 30 45 75
1000    - 10 20 30 60
"""
)
"""ISO 13920:2023, Table 2: angles by the length of the shorter leg, ± minutes."""

ANGLE_OFFSETS_13920: Final = read_rows(
    """
over   to   A  B  C  D
   0  400   6 13 18 26
 400 1000 4.5  9 13 22
1000    -   3  6  9 18
"""
)
"""ISO 13920:2023, Table 2: the same as an offset, ± mm for each metre of the shorter leg."""

FORM_13920: Final = read_rows(
    """
 over    to   E   F   G   H
   30   120 0.5   1 1.5 2.5
  120   400   1 1.5   3   5
  400  1000 1.5   3 5.5   9
 1000  2000   2 4.5   9  14
 2000  4000   3   6  11  18
 4000  8000   4   8  16  26
 8000 12000   5  10  20  32
12000 16000   6  12  22  36
16000 20000   7  14  25  40
20000     -   8  16  25  40
"""
)
"""ISO 13920:2023, Table 3: straightness, flatness, parallelism by the longer side, mm. Last cells of G and H:
from memory.
"""
