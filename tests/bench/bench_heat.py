"""Self-heating: what one pour, one depth search and one cup cost, cold caches.

    python tests/bench/bench_heat.py [runs]

Budgets on one desktop core: a pour of 3..30 mm over 72 h 15 ms, a greatest depth 100 ms.
"""

from __future__ import annotations

import statistics
import sys
import time
from collections.abc import Callable

import numpy as np

from monitor.core.cure import pourheat, selfheat, warming
from monitor.core.cure.mixing import cups
from monitor.core.cure.resin import with_defaults
from monitor.core.vocabulary import ResinProfile, StageTime


def coating() -> ResinProfile:
    """An eight-hour coating resin."""
    stages = {"working_time_end": StageTime(0.75, "label"), "tack_free": StageTime(8.0, "label")}
    return ResinProfile(
        "coating",
        "Coating resin",
        "pour",
        23.0,
        with_defaults("pour", stages),
        ratio_by_volume=(2.0, 1.0),
    )


def cost_ms(work: Callable[[], object], runs: int) -> str:
    """Median and worst of `runs`, in milliseconds of processor time."""
    spent = []
    for _ in range(runs):
        start = time.process_time()
        work()
        spent.append(1000.0 * (time.process_time() - start))
    return f"median {statistics.median(spent):7.2f} ms, worst {max(spent):7.2f} ms"


def main() -> None:
    """Print one line a piece of work."""
    runs = int(sys.argv[1]) if len(sys.argv) > 1 else 20
    profile = coating()
    law = warming.anchored_law(profile)
    at_h = np.linspace(0.0, 72.0, 289)
    room_c = 22.0 + 2.0 * np.sin(2.0 * np.pi * at_h / 24.0)

    def depth_search() -> None:
        selfheat._deepest_mm.cache_clear()
        selfheat.max_depth_mm(profile, "wood", 23.0)

    def anchoring() -> None:
        warming._anchored.cache_clear()
        warming.label_room(profile)

    def cup_search() -> None:
        selfheat._cup.cache_clear()
        cups(profile, 1500.0, 23.0)

    for depth_mm in (3.0, 6.0, 10.0, 20.0, 30.0):

        def pour(depth_mm: float = depth_mm) -> None:
            pourheat._warmed.cache_clear()
            pourheat.pour_heat(profile, law, depth_mm, "wood", at_h, room_c)

        print(f"pour of {depth_mm:4.0f} mm, 72 h   {cost_ms(pour, runs)}")
    print(f"greatest depth          {cost_ms(depth_search, runs)}")
    print(f"anchor to the label     {cost_ms(anchoring, runs)}")
    print(f"cups for 1500 ml        {cost_ms(cup_search, runs)}")


if __name__ == "__main__":
    main()
