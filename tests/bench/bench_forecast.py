"""How good is the room forecast? Rolling origins, every record of the open data.

    python tests/bench/bench_forecast.py [every_h] [--quick] [--habits]

At each origin only the log so far is seen, at least seven days of it. The habits lent by
other rooms are learnt afresh without the room that is judged (both simulated studios go
together), so nothing of it is known beforehand. The net of climate.py was taught by no record
of these, nor by weather of their place or time (teach_forecast.py). Beside that, the skill
with its whole house left out, as a stranger's room would find it, and as shipped, with habits
taught by all rooms, itself included (`--quick` leaves these two out).

Reference: the best in hindsight, per room and lead, of the last value, the same time
yesterday, the mean of that time over seven days. In brackets what chance does: the standard
error from blocks of five days, as neighbouring origins share their weather.
The constants of shrinkage and fading were chosen by the skill with rooms and houses left out.
`--habits` prints the table that monitor/core/room/habits.py holds (thousandths).
"""

from __future__ import annotations

import csv
import gzip
import sys
import time
from collections import defaultdict
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from opendata import data_root

from monitor.core.physics.air import dew_point
from monitor.core.room.forecast import forecast
from monitor.core.room.habits import LEADS_H
from monitor.core.room.hourly import hourly
from monitor.core.room.lean import fit
from monitor.core.room.quality import room_series
from monitor.core.room.signs import history, signs, simple
from monitor.core.vocabulary import RoomSeries

BELGIAN = ("living", "kitchen", "office", "ironing", "outside_north", "airport_weather")
STUDIOS = ("studio_greensboro_heated_winter", "studio_greensboro_winter")
TEACHERS = (*BELGIAN, "lr_gmt8", *STUDIOS)
LEADS = (6, 24, 48, 72)
AGE_H = (12, 24, 48)
WARM_UP_S = 7 * 86_400.0
EA_OVER_R_K = 55_000.0 / 8.314462618
MAX_ORIGINS = 400
BLOCK_H = 120
HABITS_LEAN = 100.0  # to what no room need teach; rooms weigh 100 each


def read(name):
    with gzip.open(data_root() / name, "rt") as file:
        rows = list(csv.DictReader(file))
    at = [datetime.fromisoformat(row["ts"]).replace(tzinfo=UTC).timestamp() for row in rows]
    value = [[float(row[c] or "nan") for c in ("temp_c", "rh_pct")] for row in rows]
    return np.array(at), *np.array(value).T


def rooms():
    """Every record as a room series, faults set aside by the program's own judgement."""
    out = {}
    for name in BELGIAN:
        out[name] = room_series(*read(f"indoor/energy_{name}_2016-01-11_03-31.csv.gz"))
    out["lr_gmt8"] = room_series(*read("indoor/lr_gmt8_2017-02_2018-06.csv.gz"))
    for name in STUDIOS:
        out[name] = room_series(*read(f"synthetic/SYNTHETIC_{name}.csv.gz"))
    halves = [read(f"indoor/occupancy_{part}.csv.gz") for part in ("datatest", "datatraining")]
    out["occupancy"] = room_series(*(np.concatenate(two) for two in zip(*halves, strict=True)))
    chambers = defaultdict(list)
    with gzip.open(data_root() / "indoor/raw_dht22_chambers_s09-12_s17-20.csv.gz", "rt") as file:
        for row in csv.DictReader(file, delimiter=";"):
            values = (row["TIMESTAMP"], row["TEMPERATURE"], row["HUMIDITY"])
            chambers[row["ID_SENSOR"]].append([float(value) for value in values])
    for sensor, values in chambers.items():
        out[f"chamber {sensor}"] = room_series(*np.array(values).T)
    return out


def lessons(room):
    """Signs and what followed, scaled to one mean error, per quantity and lead."""
    dew = dew_point(room.temp_c + 273.15, np.maximum(room.humidity_pct, 1.0)) - 273.15
    last = room.at_s[-1]
    warm, moist = (history(hourly(room.at_s, v, last, 10**6)) for v in (room.temp_c, dew))
    out = []
    for one, other in ((warm, moist), (moist, warm)):
        origins = np.arange(168, one.value.size, 3)
        origins = origins[np.isfinite(one.value[origins])]
        for lead in LEADS_H:
            sight = signs(one, other, origins, lead)
            ahead = np.minimum(origins + lead, one.value.size - 1)
            target = one.value[ahead] - one.value[origins]
            known = (origins + lead < one.value.size) & np.isfinite(target)
            scale = np.mean(np.abs(target[known]))
            out.append((sight[known] / scale, target[known] / scale))
    return out


def habits(taught, without=()):
    """Habits of temperature and of dew point from every room but those named."""
    out = []
    for quantity in range(2):
        rows = []
        for k, lead in enumerate(LEADS_H):
            use = [v[quantity * len(LEADS_H) + k] for n, v in taught.items() if n not in without]
            sight, target = (np.concatenate(part) for part in zip(*use, strict=True))
            weight = np.concatenate([np.full(one[1].size, 100 / one[1].size) for one in use])
            start = simple(lead)
            rows.append(fit(sight, target, weight, start, HABITS_LEAN * np.eye(start.size), 6))
        out.append(np.array(rows))
    return tuple(out)


def house(name):
    """The rooms that share walls and weather with a room, itself included."""
    return next((names for names in (BELGIAN, STUDIOS) if name in names), (name,))


def value_at(room, at_s, slack_s, before=True):
    """The newest value at a time, or (for what came true) the nearest; NaN in a gap."""
    right = int(np.searchsorted(room.at_s, at_s, side="right"))
    near = [i for i in ((right - 1,) if before else (right - 1, right)) if 0 <= i < room.at_s.size]
    best = min(near, key=lambda i: abs(room.at_s[i] - at_s), default=None)
    if best is None or abs(room.at_s[best] - at_s) > slack_s:
        return np.nan
    return room.temp_c[best]


def aged_h(temp_c, step_h):
    """Hours of age at 23 degC along the last axis, 55 kJ/mol."""
    return np.sum(np.exp(EA_OVER_R_K * (1 / 296.15 - 1 / (temp_c + 273.15))), axis=-1) * step_h


def judge(room, lent, every_h):
    step_s = float(np.median(np.diff(room.at_s)))
    slack_s = max(1_300.0, 1.1 * step_s)
    begin_s = np.ceil(room.at_s[0] / 3_600) * 3_600 + WARM_UP_S
    origins = np.arange(begin_s, room.at_s[-1] - 6 * 3_600, every_h * 3_600)
    origins = origins[:: max(1, -(-origins.size // MAX_ORIGINS))]
    points, ages, spent = [], [], []
    for now in origins:
        newest = value_at(room, now, slack_s)
        if not np.isfinite(newest):
            continue
        end = int(np.searchsorted(room.at_s, now, side="right"))
        past = RoomSeries(room.at_s[:end], room.temp_c[:end], room.humidity_pct[:end])
        began = time.process_time()
        seen = forecast(past, float(now), step_s=3_600.0, habits=lent)
        spent.append(time.process_time() - began)
        for lead in LEADS:
            paths = seen.temp_c[:, lead - 1]
            back_s = 3_600 * (lead - 24 * -(-lead // 24))
            week = [value_at(room, now + back_s - 86_400 * day, slack_s) for day in range(7)]
            truth = value_at(room, now + 3_600 * lead, slack_s, before=False)
            refs = (newest, week[0], np.mean(week))
            points.append((lead, truth, *refs, *np.quantile(paths, (0.1, 0.5, 0.9))))
        for hours in AGE_H:
            ahead = now + 3_600 * np.arange(1, hours + 1)
            truth = [value_at(room, at, slack_s, before=False) for at in ahead]
            aged = aged_h(seen.temp_c[:, :hours], 1)
            ages.append((hours, aged_h(np.array(truth), 1), np.median(aged), np.mean(aged)))
    points = np.array(points).reshape(-1, 8)
    ages = np.array(ages).reshape(-1, 4)
    return (
        points[np.isfinite(points).all(axis=1)],
        ages[np.isfinite(ages).all(axis=1)],
        max(spent, default=0),
    )


def chance(values, every_h):
    """Standard error of the mean of values at successive origins that share their weather."""
    size = max(1, round(BLOCK_H / every_h))
    blocks = [values[at : at + size].mean() for at in range(0, values.size - size + 1, size)]
    return float(np.std(blocks, ddof=1) / np.sqrt(len(blocks))) if len(blocks) > 2 else np.nan


def pinball(truth, quantiles):
    miss = truth[:, None] - quantiles
    share = np.array([0.1, 0.5, 0.9])
    return float(np.mean(np.maximum(share * miss, (share - 1) * miss)))


def skills(points):
    """MAE skill [%] by lead over the best reference in hindsight."""
    out = {}
    for lead in LEADS:
        rows = points[points[:, 0] == lead]
        refs = np.mean(np.abs(rows[:, 1:2] - rows[:, 2:5]), axis=0)
        out[lead] = 100 * (1 - np.mean(np.abs(rows[:, 1] - rows[:, 6])) / refs.min())
    return out


def beside(logs, taught, every_h):
    """The teachers' skill with their whole house left out, and as shipped."""
    for way, without in (("whole house left out", house), ("as shipped", lambda name: ())):
        got = {n: skills(judge(logs[n], habits(taught, without(n)), every_h)[0]) for n in TEACHERS}
        for lead in LEADS:
            worst = min(TEACHERS, key=lambda n: got[n][lead])
            print(
                f"lead {lead:2} h, {way}: median skill"
                f" {np.median([one[lead] for one in got.values()]):5.1f} %,"
                f" worst {worst} {got[worst][lead]:.1f} %"
            )


def main():
    every_h = float(next((word for word in sys.argv[1:] if word[0] != "-"), 11))
    logs = rooms()
    taught = {name: lessons(logs[name]) for name in TEACHERS}
    if "--habits" in sys.argv:
        for table in habits(taught):
            print("\n".join(" ".join(f"{1000 * v:.0f}" for v in row) for row in table), "\n")
        return
    skill, cover, bias = defaultdict(dict), defaultdict(list), defaultdict(list)
    print(f"origins every {every_h:g} h after 7 days, at most {MAX_ORIGINS} a room")
    print("room                       lead_h    n    MAE_K  best_K  which  skill%  cover%  pinball")
    for name, room in logs.items():
        out = STUDIOS if name in STUDIOS else (name,)
        points, ages, slowest_s = judge(room, habits(taught, out), every_h)
        spacing_h = max(every_h, (room.at_s[-1] - room.at_s[0]) / 3_600 / MAX_ORIGINS)
        for lead in LEADS:
            rows = points[points[:, 0] == lead]
            if rows.shape[0] < 10:
                print(f"{name[:26]:26} {lead:6}  {rows.shape[0]:4}  too few origins to judge")
                continue
            truth = rows[:, 1]
            mae = np.mean(np.abs(truth - rows[:, 6]))
            refs = np.mean(np.abs(truth[:, None] - rows[:, 2:5]), axis=0)
            which = ("last", "yest", "week")[int(np.argmin(refs))]
            inside = (truth >= rows[:, 5]) & (truth <= rows[:, 7])
            skill[lead][name] = 100 * (1 - mae / refs.min())
            cover[lead].append(100 * inside.mean())
            loss = pinball(truth, rows[:, 5:8])
            print(
                f"{name[:26]:26} {lead:6}  {truth.size:4}  {mae:7.3f} {refs.min():7.3f}  {which}"
                f"  {skill[lead][name]:6.1f}  {cover[lead][-1]:6.1f}"
                f" ({100 * chance(inside * 1.0, spacing_h):4.1f})  {loss:7.3f}"
            )
        for hours in AGE_H:
            rows = ages[ages[:, 0] == hours]
            if rows.shape[0] < 10:
                continue
            error = 100 * (rows[:, 2:] / rows[:, 1:2] - 1)
            bias[hours].append(error.mean(axis=0))
            print(
                f"{name[:26]:26} age over {hours} h: mean error {np.abs(error[:, 0]).mean():.2f} %,"
                f" bias of the median {error[:, 0].mean():+.2f} %, of the mean"
                f" {error[:, 1].mean():+.2f} % ({chance(error[:, 0], spacing_h):.2f})"
            )
        print(f"{name[:26]:26} slowest forecast {1e3 * slowest_s:.0f} ms")
    print("each room left out of the habits lent to it:")
    wanted = {6: 25, 24: 8, 48: 5, 72: 5}
    for lead in LEADS:
        got = skill[lead]
        home = [v for n, v in got.items() if not n.startswith("chamber")]
        worst = min(got, key=lambda n: got[n])
        print(
            f"lead {lead:2} h: median skill {np.median(home):5.1f} % without the chambers,"
            f" {np.median(list(got.values())):5.1f} % with (wanted {wanted[lead]});"
            f" worst {worst} {got[worst]:.1f} % (wanted -3);"
            f" coverage mean {np.mean(cover[lead]):.1f},"
            f" {min(cover[lead]):.0f}..{max(cover[lead]):.0f}"
        )
    for hours in AGE_H:
        median, mean = np.mean(bias[hours], axis=0)
        most = np.abs(np.array(bias[hours])[:, 0]).max()
        print(
            f"age over {hours} h: bias over rooms {median:+.2f} % of the median (most {most:.2f}),"
            f" {mean:+.2f} % of the mean (wanted 1)"
        )
    print(f"coverage overall {np.mean([c for v in cover.values() for c in v]):.1f} % (77..83)")
    if "--quick" not in sys.argv:
        beside(logs, taught, every_h)


if __name__ == "__main__":
    main()
