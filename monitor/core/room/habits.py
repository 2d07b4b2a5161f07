"""How rooms behave in general: what a new room's forecast starts from.

Learnt once, by least absolute errors with a lean to `signs.simple`, from nine records (four
rooms, a porch and an airfield in Belgium, a living room at GMT+8, two simulated studios),
each of one weight. The bench that judges the forecast learns them again without the room it
judges. Rooms of one house agree; another house differs most at a day ahead, so the lean is
strong and no more than half the forecast starts from these.
"""

from __future__ import annotations

import numpy as np

from monitor.core.vocabulary import FloatArray

LEADS_H = (1, 2, 3, 6, 9, 12, 18, 24, 30, 36, 42, 48, 60, 72)


def _table(text: str) -> FloatArray:
    """Weights (leads, signs), written in thousandths."""
    rows = [[float(word) for word in line.split()] for line in text.strip().splitlines()]
    return np.array(rows) / 1_000.0


TEMPERATURE = _table(
    """
16 -11 453 -458 -28 28 -1 9 -321 -55 1 -13 8 4 10 10 -1 -8 -4
46 -9 562 -575 -73 -1 -16 31 -327 -95 9 -9 34 9 21 22 -1 -15 -8
63 3 611 -608 -86 14 -54 25 -276 -103 17 -1 61 18 18 28 10 -19 -12
92 2 681 -616 -67 23 -101 -6 -145 -69 24 60 92 38 -15 41 30 -22 -23
138 3 690 -593 -41 40 -139 0 -87 -13 37 107 41 54 -34 45 35 -19 -19
125 -5 684 -592 -17 56 -153 23 -72 -9 84 125 0 77 -35 45 26 -18 0
123 10 696 -510 -6 43 -182 -5 -50 47 123 35 2 99 -28 20 31 8 10
0 7 155 27 14 30 -127 -34 -14 19 34 34 0 92 -24 17 39 17 -11
77 -34 709 -471 -41 52 -85 -41 -33 -25 24 53 77 113 -94 47 35 9 -20
92 -17 703 -469 -47 41 -70 -7 -21 -23 53 92 -12 153 -47 47 38 22 5
82 11 693 -433 -11 29 -89 11 -2 37 82 30 -36 190 -13 47 41 29 2
0 12 260 24 25 13 -59 -19 8 0 2 -17 -7 184 -8 54 38 39 -16
67 12 713 -328 -36 26 -66 -16 -7 -9 32 67 -6 219 -43 57 36 57 -4
0 8 361 34 16 9 -79 -20 9 6 17 -26 -10 238 -2 47 22 51 -9
"""
)

DEW_POINT = _table(
    """
-27 4 453 -460 7 -7 -11 9 -216 -37 -8 -13 11 5 14 -14 8 12 8
2 17 573 -559 -58 -26 -33 1 -215 -65 -10 -19 29 11 29 -24 13 25 10
26 20 615 -599 -88 -39 -42 12 -183 -76 -7 -29 34 14 32 -34 15 36 21
31 20 694 -629 -105 -26 -76 -3 -121 -51 14 -12 31 46 15 -25 7 30 20
83 3 720 -602 -99 -11 -100 -9 -80 15 -3 8 14 64 -14 -12 -4 16 22
55 -18 710 -590 -54 21 -104 17 -62 11 19 55 4 90 -61 -5 -10 8 11
85 -16 672 -489 -50 30 -131 10 -26 76 85 0 11 132 -47 -23 1 8 10
0 -12 135 61 -23 10 -96 -43 34 22 7 13 9 101 -35 -36 9 -12 -15
38 -7 750 -483 -45 33 -99 -43 -39 4 55 13 38 146 -52 -4 43 -38 4
50 -18 718 -434 -39 40 -108 -10 -21 22 29 50 11 164 -43 -37 40 -33 24
48 -4 703 -415 -23 31 -130 -11 10 31 48 13 5 195 -5 -54 49 -63 16
0 3 262 52 7 19 -122 -44 11 24 -9 25 3 176 -36 -61 23 -79 11
29 -5 752 -351 1 23 -119 -22 3 0 18 29 10 231 -46 -62 39 -43 4
0 2 392 67 4 9 -147 -17 24 9 -5 35 4 222 -39 -42 23 -61 -3
"""
)
