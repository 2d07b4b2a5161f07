"""Which faults the quality judgement finds, and how many good readings it blames.

    python tests/bench/bench_quality.py

Labelled file: faults injected by computation into a real office record. Raw log: eight
DHT22 in climate chambers, whose known faults are the failed reads (humidity 255) and the
clock reset to 1969; every other row is counted as good. The thresholds were chosen with
these files in sight, so the second table gives faults drawn at random into rooms that
carry no labels.
"""

from __future__ import annotations

import csv
import gzip
import sys
import time
from collections import Counter, defaultdict
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from opendata import data_root

from monitor.core.room.quality import judge, reason_words


def table(name):
    with gzip.open(data_root() / name, "rt") as file:
        rows = list(csv.DictReader(file))
    at = [datetime.fromisoformat(row["ts"]).replace(tzinfo=UTC).timestamp() for row in rows]
    values = [[float(row[c] or "nan") for c in ("temp_c", "rh_pct")] for row in rows]
    return np.array(at), *np.array(values).T, np.array([row.get("label", "ok") for row in rows])


def chambers():
    logs = defaultdict(list)
    with gzip.open(data_root() / "indoor/raw_dht22_chambers_s09-12_s17-20.csv.gz", "rt") as file:
        for row in csv.DictReader(file, delimiter=";"):
            values = (row["TIMESTAMP"], row["TEMPERATURE"], row["HUMIDITY"])
            logs[row["ID_SENSOR"]].append([float(value) for value in values])
    return {sensor: np.array(rows).T for sensor, rows in logs.items()}


def spoilt(at, temp, humidity, rng):
    """Faults of each kind at random places of a clean record, and their labels."""
    temp, humidity = temp.copy(), humidity.copy()
    label = np.full(at.size, "ok", dtype="<U16")
    for kind, count, length in (
        ("sentinel", 10, 1),
        ("spike_t", 15, 1),
        ("spike_rh", 15, 1),
        ("rh_stuck", 3, 40),
        ("frozen", 3, 72),
    ):
        for start in rng.integers(200, at.size - 200, count):
            where = slice(start, start + length)
            if (label[start - 2 : start + length + 2] != "ok").any():
                continue
            label[where] = kind
            sign = rng.choice((-1.0, 1.0))
            if kind == "sentinel":
                temp[where], humidity[where] = -200.0, 255.0
            elif kind == "spike_t":
                temp[where] += sign * rng.uniform(4.0, 20.0)
            elif kind == "spike_rh":
                humidity[where] = np.clip(humidity[where] + sign * rng.uniform(20, 50), 2, 98)
            elif kind == "rh_stuck":
                humidity[where] = rng.choice((1.0, 99.9))
            else:
                temp[where], humidity[where] = temp[start], humidity[start]
    return temp, humidity, label


def report(flags, label):
    for kind in np.unique(label):
        here = label == kind
        words = Counter(word for flag in flags[here] for word in reason_words(int(flag)))
        share = 100 * np.mean(flags[here] > 0)
        print(f"  {kind:14} {here.sum():6} rows, {share:6.2f} % flagged  {dict(words)}")
    bad = label != "ok"
    print(
        f"  faulty rows flagged {100 * np.mean(flags[bad] > 0):.2f} % (wanted 95),"
        f" good rows flagged {100 * np.mean(flags[~bad] > 0):.3f} % (wanted 0.5 or less)"
    )


def main():
    at, temp, humidity, label = table("labelled/LABELLED_energy_office_2016-01-11_03-31.csv.gz")
    print("labelled office")
    report(judge(at, temp, humidity), label)
    print("raw DHT22 log")
    flags, labels = [], []
    for at, temp, humidity in chambers().values():
        flags.append(judge(at, temp, humidity))
        labels.append(np.where(humidity == 255, "failed read", np.where(at < 1e9, "clock", "ok")))
    report(np.concatenate(flags), np.concatenate(labels))
    rng = np.random.default_rng(7)
    for room in ("living", "kitchen", "ironing", "outside_north"):
        at, temp, humidity, _ = table(f"indoor/energy_{room}_2016-01-11_03-31.csv.gz")
        temp, humidity, label = spoilt(at, np.round(temp, 2), np.round(humidity, 2), rng)
        print(f"{room}, faults drawn at random")
        report(judge(at, temp, humidity), label)
    rows = 14 * 8_640
    at = 1.7e9 + 10.0 * np.arange(rows)
    temp = np.round(20 + np.cumsum(rng.normal(0, 0.01, rows)), 1)
    humidity = np.round(50 + np.cumsum(rng.normal(0, 0.02, rows)), 1)
    began = time.perf_counter()
    judge(at, temp, humidity)
    print(f"two weeks at 10 s ({rows} rows): {1e3 * (time.perf_counter() - began):.0f} ms")


if __name__ == "__main__":
    main()
