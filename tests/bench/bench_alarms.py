"""Real rooms, a layer started each day: does the warning of cold come early, and is it true?

    python tests/bench/bench_alarms.py [every_h] [--grid]

A crossing is a raise of `room_too_cold`; it counts where the room had been right for two
hours before, since nobody can announce at two hours' notice what went and came within them.
It was announced where `room_will_be_too_cold` stood two hours before it. An announcement was
false where no crossing followed within `COLD_SIGHT_S`. Every alarm goes through the real
rules and states; the forecast is made every `every_h` hours (the program: every 15 minutes)
from the room's own log, after 14 days of it, and judged twice at five minutes, as ticks
would. The habits lent to a room are learnt without it. Limits half a degree beside those of
the table, on which nothing was chosen, are printed in one line.
"""

from __future__ import annotations

import csv
import gzip
import sys
import time
from collections import Counter
from dataclasses import dataclass
from datetime import datetime

import numpy as np
from bench_forecast import TEACHERS, habits, lessons
from bench_forecast import rooms as records
from opendata import data_root

from monitor.core.alarms import rules, states
from monitor.core.alarms.flood import gather
from monitor.core.alarms.judge_room import (
    COLD_SIGHT_S,
    COLD_SOON_S,
    cold_is_likely,
    first_cold_s,
)
from monitor.core.room.forecast import forecast
from monitor.core.vocabulary import (
    STAGES,
    AlarmState,
    Condition,
    Layer,
    Outlook,
    ResinProfile,
    RoomSeries,
    StageOutlook,
    StageTime,
    SurfaceRisk,
)

HOUR_S, DAY_S = 3600.0, 86_400.0
AHEAD_S = 2 * HOUR_S
LEARN_S = 14 * DAY_S
STEP_S = 1800.0
CURES_S = 3 * DAY_S  # three layers overlap, so something is always curing
# The default limit of a profile, and the two beside it, so that a room crosses often enough
# to count. Winter only where a record runs through a tropical summer.
LIMITS_C = (17.0, 18.0, 19.0)
BESIDE_C = (17.5, 18.5, 19.5)
ROOMS = {
    "living": ("energy_living_2016-01-11_03-31.csv.gz", 0.0),
    "kitchen": ("energy_kitchen_2016-01-11_03-31.csv.gz", 0.0),
    "office": ("energy_office_2016-01-11_03-31.csv.gz", 0.0),
    "ironing": ("energy_ironing_2016-01-11_03-31.csv.gz", 0.0),
    "lr_gmt8": ("lr_gmt8_2017-02_2018-06.csv.gz", 8 * HOUR_S),
}
WARM_C = 26.0  # a day that stays above this needs no forecast of cold


@dataclass(frozen=True)
class Room:
    """One record, its forecasts, and when each of their paths first falls below each limit."""

    name: str
    series: RoomSeries
    origins_s: np.ndarray
    first_s: dict[float, np.ndarray]  # (origins, paths), NaN where never


@dataclass
class Score:
    crossings: int = 0
    announced: int = 0
    quick: int = 0  # crossings within two hours of the last
    told: int = 0
    false: int = 0
    least_gap_s: float = np.inf  # between two notices of one alarm
    notices_a_day: tuple[int, ...] = ()

    def row(self):
        caught = f"{self.announced}/{self.crossings}"
        wrong = f"{self.false}/{self.told}"
        return (
            f"{caught:>9} {percent(self.announced, self.crossings):>6} "
            f"{wrong:>9} {percent(self.false, self.told):>6} {self.quick:6d} "
            f"{np.median(self.notices_a_day or (0,)):7.0f} {max(self.notices_a_day or (0,)):5d} "
            f"{self.least_gap_s / HOUR_S:7.1f}"
        )

    def __add__(self, other):
        return Score(
            *(
                getattr(self, key) + getattr(other, key)
                for key in ("crossings", "announced", "quick", "told", "false")
            ),
            min(self.least_gap_s, other.least_gap_s),
            self.notices_a_day + other.notices_a_day,
        )


def percent(part, whole):
    return f"{100 * part / whole:.0f} %" if whole else "-"


def read(file):
    rows = []
    with gzip.open(data_root() / "indoor" / file, "rt") as lines:
        for row in csv.DictReader(lines):
            if row["temp_c"] and row["rh_pct"] and -30.0 < float(row["temp_c"]) < 60.0:
                at = datetime.fromisoformat(row["ts"] + "+00:00").timestamp()
                rows.append((at, float(row["temp_c"]), float(row["rh_pct"])))
    at_s, temp_c, humidity_pct = np.array(sorted(rows)).T
    return RoomSeries(at_s, temp_c, humidity_pct)


def look_ahead(name, every_h, lent):
    file, offset_s = ROOMS[name]
    series = read(file)
    start_s = series.at_s[0] + LEARN_S
    origins_s, first_s = [], {c: [] for c in (*LIMITS_C, *BESIDE_C)}
    for now_s in np.arange(start_s, series.at_s[-1] - DAY_S, every_h * HOUR_S):
        low, high = np.searchsorted(series.at_s, [now_s - 60 * DAY_S, now_s], side="right")
        recent = series.temp_c[max(low, high - 144) : high]
        if series.at_s[high - 1] < now_s - HOUR_S or recent.min() > WARM_C:
            continue
        past = RoomSeries(
            *(getattr(series, k)[low:high] for k in ("at_s", "temp_c", "humidity_pct"))
        )
        future = forecast(
            past,
            now_s,
            COLD_SIGHT_S / HOUR_S,
            STEP_S,
            paths=100,
            local_offset_s=offset_s,
            habits=lent,
        )
        origins_s.append(now_s)
        for limit_c in first_s:
            first_s[limit_c].append(first_cold_s(future.at_s, future.temp_c, limit_c))
    return Room(
        name,
        series,
        np.array(origins_s),
        {c: np.array(rows) for c, rows in first_s.items()},
    )


def layers_of(room, limit_c):
    resin = ResinProfile("r", "Coating", "pour", 23.0, {}, min_temp_c=limit_c)
    days = np.arange(room.series.at_s[0], room.series.at_s[-1], DAY_S)
    return [
        Layer(i, i, f"Layer {i}", resin, at_s, ended_at_s=at_s + CURES_S)
        for i, at_s in enumerate(days)
    ]


def crossings(room, limit_c):
    """The changes of `room_too_cold` over the whole record, from its readings alone."""
    layers = layers_of(room, limit_c)
    rule = rules.RULES["room_too_cold"]
    state, changes = AlarmState(rule.key, "room:s"), []
    for at_s, temp_c, humidity_pct in zip(
        room.series.at_s, room.series.temp_c, room.series.humidity_pct, strict=True
    ):
        day = int((at_s - room.series.at_s[0]) // DAY_S)
        curing = layers[max(0, day - 3) : day + 1]
        cold = rules.room_now("s", at_s, temp_c, humidity_pct, curing)[0]
        state, change = states.step(state, rule, cold)
        state, timed = states.tick(state, rule, at_s)
        changes.extend(one for one in (change, timed) if one is not None)
    return changes


def standing(changes):
    """The stretches in which an alarm stood, from its changes."""
    stretches, began_s = [], None
    for change in changes:
        if change.after == "unacknowledged" and change.before != "unacknowledged":
            began_s = change.at_s
        elif change.before == "unacknowledged" and change.after != "unacknowledged":
            stretches.append((began_s, change.at_s))
            began_s = None
    if began_s is not None:
        stretches.append((began_s, np.inf))
    return stretches


def announcements(room, cold, limit_c, verdict):
    """The changes of `room_will_be_too_cold`, under a verdict on the two chances."""
    rule = rules.RULES["room_will_be_too_cold"]
    state, changes = AlarmState(rule.key, "room:s"), []
    spells = np.array(standing(cold)).reshape(-1, 2)
    for now_s, first_s in zip(room.origins_s, room.first_s[limit_c], strict=True):
        is_cold = bool(((spells[:, 0] <= now_s) & (now_s < spells[:, 1])).any())
        within_sight, soon = (
            np.mean(first_s <= now_s + COLD_SIGHT_S),
            np.mean(first_s <= now_s + COLD_SOON_S),
        )
        wrong = verdict(float(within_sight), float(soon))
        for at_s in (now_s, now_s + rule.on_delay_s):
            judged = Condition(rule.key, "room:s", at_s, wrong, "", meaningful=not is_cold)
            state, change = states.step(state, rule, judged)
            state, timed = states.tick(state, rule, at_s)
            changes.extend(one for one in (change, timed) if one is not None)
    return changes


def score(room, cold, limit_c, verdict=cold_is_likely):
    to_come = announcements(room, cold, limit_c, verdict)
    stands = standing(to_come)
    seen = room.origins_s
    raises, last_clear_s, quick = [], -np.inf, 0
    for began_s, ended_s in standing(cold):
        known = np.min(np.abs(seen - (began_s - AHEAD_S))) < AHEAD_S
        if known and began_s - last_clear_s >= AHEAD_S:
            raises.append(began_s)
        else:
            quick += known
        last_clear_s = ended_s
    all_raises = [began_s for began_s, _ in standing(cold)]
    last_s = room.series.at_s[-1]
    judged = [(a, b) for a, b in stands if a + COLD_SIGHT_S <= last_s]
    told = [c for c in (*cold, *to_come) if c.notice and c.at_s >= room.series.at_s[0] + LEARN_S]
    told.sort(key=lambda change: change.at_s)
    sent = [n for i, c in enumerate(told) for n in gather([c], told=told[max(0, i - 9) : i])]
    a_day = Counter(notice.at_s // DAY_S for notice in sent)
    gaps = [
        np.diff([n.at_s for n in sent if n.first.key == key]).min(initial=np.inf)
        for key in ("room_too_cold", "room_will_be_too_cold")
    ]
    return Score(
        crossings=len(raises),
        announced=sum(any(a <= c - AHEAD_S <= b for a, b in stands) for c in raises),
        quick=quick,
        told=len(judged),
        false=sum(not any(a < c <= a + COLD_SIGHT_S for c in all_raises) for a, _ in judged),
        least_gap_s=float(min(gaps)),
        notices_a_day=tuple(a_day[day] for day in np.unique(seen // DAY_S)),
    )


def acts_of_one_layer():
    """How often one coating at label speed speaks, if nobody logs anything, by least priority."""
    hours = (0.1, 0.5, 2.0, 4.0, 4.0, 8.0, 10.0, 24.0, 24.0, 72.0)
    resin = ResinProfile(
        "r",
        "Coating",
        "pour",
        23.0,
        {key: StageTime(hour, "label") for key, hour in zip(STAGES["pour"], hours, strict=True)},
    )
    layer = Layer(1, 1, "Layer", resin, 0.0)
    book, told = {}, []
    for now_s in np.arange(0.0, 5 * DAY_S, 60.0):
        stages = tuple(
            StageOutlook(
                key,
                stage.hours,
                "label",
                stage.hours * HOUR_S,
                stage.hours * HOUR_S if stage.hours * HOUR_S <= now_s else None,
                0.9 * stage.hours * HOUR_S,
                stage.hours * HOUR_S,
                1.1 * stage.hours * HOUR_S,
                "",
            )
            for key, stage in resin.stages.items()
        )
        outlook = Outlook(
            1,
            now_s,
            0.5,
            None,
            1.0,
            1.0,
            False,
            None,
            "soft",
            SurfaceRisk(0.0, "low"),
            None,
            None,
            stages,
        )
        for condition in rules.layer_now(layer, outlook, [], now_s):
            rule = rules.RULES[condition.key]
            state = book.get(rule.key, AlarmState(rule.key, condition.subject))
            book[rule.key], change = states.step(state, rule, condition)
            if change is not None and change.notice:
                told.append(change)
    return {
        least: sum(c.priority in allowed for c in told)
        for least, allowed in (
            ("urgent", {"urgent"}),
            ("soon", {"urgent", "soon"}),
            ("note", {"urgent", "soon", "note"}),
        )
    }


def threshold(likely, soon_likely, clear):
    def verdict(within_sight, soon):
        if within_sight >= likely or soon >= soon_likely:
            return True
        return False if within_sight <= clear else None

    return verdict


def main():
    every_h = next((float(a) for a in sys.argv[1:] if not a.startswith("-")), 1.0)
    began = time.perf_counter()
    logs = records()
    taught = {name: lessons(logs[name]) for name in TEACHERS}
    rooms = [look_ahead(name, every_h, habits(taught, (name,))) for name in ROOMS]
    made = sum(len(room.origins_s) for room in rooms)
    print(f"{made} forecasts in {time.perf_counter() - began:.0f} s, one each {every_h:g} h")
    every = (*LIMITS_C, *BESIDE_C)
    cold = {(room.name, c): crossings(room, c) for room in rooms for c in every}

    print("\nthe rule as it stands")
    print(
        f"{'room':8} {'limit':>5}  announced >= 2 h      false        quick  notices a day  least"
    )
    print(
        f"{'':8} {'°C':>5} {'':>9} {'share':>6} {'':>9} {'share':>6} {'':>6}  median  most   gap h"
    )
    total = Score()
    for room in rooms:
        for limit_c in LIMITS_C:
            one = score(room, cold[room.name, limit_c], limit_c)
            total += one
            print(f"{room.name:8} {limit_c:5.0f} {one.row()}")
    print(f"{'all':8} {'':5} {total.row()}")
    others = (score(room, cold[room.name, c], c) for room in rooms for c in BESIDE_C)
    print(f"{'beside':8} {'':5} {sum(others, Score()).row()}")
    print(f"acts of one layer, nobody logging: {acts_of_one_layer()} notices by least priority")

    if "--grid" in sys.argv:
        print("\nlikely  soon clear   announced            false")
        for likely in (0.6, 0.65, 0.7, 0.75, 0.8):
            for soon_likely in (0.3, 0.4, 0.5, 0.6):
                for clear in (0.05, 0.15, 0.3):
                    verdict = threshold(likely, soon_likely, clear)
                    scores = (
                        score(room, cold[room.name, c], c, verdict)
                        for room in rooms
                        for c in LIMITS_C
                    )
                    row = sum(scores, Score()).row()
                    print(f"{likely:6.2f} {soon_likely:5.2f} {clear:5.2f} {row}")
    print(f"\n{time.perf_counter() - began:.0f} s in all")


if __name__ == "__main__":
    main()
