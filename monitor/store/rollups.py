"""Minute, hour and day summaries, so that a chart of any span costs the same.

Each level is recomputed from the one below it for the stretch that changed; nothing is
accumulated, so late, flagged and repeated readings come out right. Flagged readings are
left out of the summaries and stay in the raw table.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Iterator

MINUTE_S, HOUR_S, DAY_S = 60, 3600, 86400

_FROM_RAW = """
INSERT INTO rollups
SELECT sensor_id, :step, taken_ms / (:step * 1000) * :step, count(*),
  min(temp_centi_c), avg(temp_centi_c), max(temp_centi_c),
  min(humidity_deci_pct), avg(humidity_deci_pct), max(humidity_deci_pct)
FROM readings
WHERE sensor_id = :sensor AND flags = 0
  AND taken_ms >= :from * 1000 AND taken_ms < :to * 1000
GROUP BY 3
"""
_FROM_BELOW = """
INSERT INTO rollups
SELECT sensor_id, :step, start_s / :step * :step, sum(count),
  min(temp_min_centi_c), sum(temp_mean_centi_c * count) / sum(count), max(temp_max_centi_c),
  min(humidity_min_deci_pct), sum(humidity_mean_deci_pct * count) / sum(count),
  max(humidity_max_deci_pct)
FROM rollups
WHERE sensor_id = :sensor AND step_s = :below AND start_s >= :from AND start_s < :to
GROUP BY 3
"""


def _stretches(buckets: Iterable[int], step: int) -> Iterator[tuple[int, int]]:
    """Runs of touching buckets as (from, to), so that a backlog is one statement."""
    start = end = None
    for bucket in sorted(set(buckets)):
        if start is None or end is None:
            start, end = bucket, bucket + step
        elif bucket == end:
            end += step
        else:
            yield start, end
            start, end = bucket, bucket + step
    if start is not None and end is not None:
        yield start, end


def refresh(con: sqlite3.Connection, sensor_id: int, taken_s: Iterable[int]) -> None:
    """Recompute every summary that a reading at one of `taken_s` belongs to."""
    touched = list(taken_s)
    below = None
    for step in (MINUTE_S, HOUR_S, DAY_S):
        sql = _FROM_RAW if below is None else _FROM_BELOW
        for start, end in _stretches((at // step * step for at in touched), step):
            values = {"sensor": sensor_id, "step": step, "below": below, "from": start, "to": end}
            con.execute(
                "DELETE FROM rollups WHERE sensor_id = :sensor AND step_s = :step "
                "AND start_s >= :from AND start_s < :to",
                values,
            )
            con.execute(sql, values)
        below = step
