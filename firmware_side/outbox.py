"""Readings wait here, on disk, until the monitor has said that it holds them.

One SQLite file. A *stream* is a run of samples numbered 0, 1, 2, ... under one boot id;
each start of the node opens one. When the file is full, the oldest dense stretch is moved
to a stream of its own with every other sample left out, so that numbers stay without gaps
(the monitor counts on that) and weeks of outage become coarser, not shorter.

A sample taken before the system clock was set keeps the machine's own seconds; it gets its
date when the clock has been set, or goes out with relative time until then.
"""

from __future__ import annotations

import logging
import secrets
import sqlite3
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

from firmware_side.errors import OutboxError
from firmware_side.outbox_file import locked, opened

log = logging.getLogger(__name__)

MAX_SAMPLES = 2_000_000  # about 80 MB; 230 days at 10 s
_THIN_BLOCK = 2_000
# The newest part of a full outbox that is kept whole while older parts can give way.
_RECENT_SHARE = 0.25


@dataclass(frozen=True)
class Waiting:
    """One sample to be sent. Without `at_s` its date is not known; `uptime_s` is."""

    boot: str
    seq: int
    low: int
    temp_c: float
    humidity_pct: float | None
    at_s: float | None
    uptime_s: float


@dataclass(frozen=True)
class Place:
    """How far sending has come: the last sample handed out."""

    place: float = float("-inf")
    seq: int = -1


class Outbox:
    """The samples not yet in the monitor's store, bounded, in order of time.

    Used from one thread, and by one node: two would forget one another's streams. A lock file
    beside it sees to that. `machine_start` names the machine's own start, within which the
    uptimes of several starts of the node are comparable; by default this start is its own.
    """

    def __init__(
        self, path: str | Path, max_samples: int = MAX_SAMPLES, machine_start: str | None = None
    ) -> None:
        if max_samples < 10:
            raise OutboxError(f"the outbox may hold {max_samples} samples, expected at least 10")
        self._max_samples = max_samples
        self._lock = locked(Path(path))
        try:
            self._con = opened(Path(path))
        except BaseException:
            self._lock.close()
            raise
        self.boot = secrets.token_hex(6)
        self._machine_start = machine_start or self.boot
        with self._writing():
            self._forget_empty_streams()
            self._con.execute(
                "INSERT OR IGNORE INTO machine_start VALUES (?, NULL)", (self._machine_start,)
            )
            last = self._con.execute("SELECT max(place) FROM stream").fetchone()[0]
            self._stream = self._add_stream(self.boot, self._machine_start, 0, (last or 0.0) + 1.0)
        self._count = int(self._con.execute("SELECT count(*) FROM sample").fetchone()[0])

    def __len__(self) -> int:
        return self._count

    def close(self) -> None:
        """Release the file."""
        self._con.close()
        self._lock.close()

    def add(self, samples: Sequence[tuple[float, float | None, float, float | None]]) -> None:
        """Keep samples: (temp_c, humidity_pct, uptime_s, at_s or None while undated).

        They are on the disk when this returns. Raises `OutboxError`, having kept none.
        """
        with self._writing():
            seq = self._next_seq(self._stream)
            self._con.executemany(
                "INSERT INTO sample VALUES (?, ?, ?, ?, ?, ?)",
                (
                    (
                        self._stream,
                        seq + i,
                        round(uptime_s * 1000),
                        None if at_s is None else round(at_s * 1000),
                        round(temp_c * 1000),
                        None if humidity is None else round(humidity * 1000),
                    )
                    for i, (temp_c, humidity, uptime_s, at_s) in enumerate(samples)
                ),
            )
            self._set_next_seq(self._stream, seq + len(samples))
        self._count += len(samples)
        try:
            while self._count > self._max_samples and self._thin():
                pass
        except OutboxError as error:  # the samples are kept all the same
            log.warning("the full outbox could not be thinned: %s", error)

    def date_all(self, offset_s: float) -> None:
        """The clock is set: date = uptime + `offset_s` for what this machine start left undated."""
        with self._writing():
            self._date(self._machine_start, round(offset_s * 1000))

    def date_earlier_starts(self, this_start_s: float) -> int:
        """Date what earlier starts left undated; how many samples that was.

        Nobody can know their date any more. Taken as if the power had come back at once:
        the last sample of a start falls on the moment at which the next start began, which
        is the latest that it can be.
        """
        dated = 0
        end_ms = round(this_start_s * 1000)
        with self._writing():
            starts = self._con.execute(
                "SELECT started, max(uptime_ms), count(*) FROM sample JOIN stream ON id = stream"
                " WHERE at_ms IS NULL AND started != ? GROUP BY started"
                " ORDER BY max(place) DESC",
                (self._machine_start,),
            ).fetchall()
            for started, last_ms, count in starts:
                self._date(started, end_ms - last_ms)
                end_ms -= last_ms
                dated += count
        return dated

    def after(self, place: Place, limit: int) -> tuple[list[Waiting], Place]:
        """Up to `limit` samples that follow `place`, and the place after them.

        Samples whose date was lost with an earlier start wait until they have been dated.
        """
        samples: list[Waiting] = []
        streams = self._con.execute(
            "SELECT id, boot, place, started FROM stream WHERE place >= ? ORDER BY place",
            (place.place,),
        ).fetchall()
        for stream, boot, at_place, started in streams:
            if len(samples) >= limit:
                break
            rows = self._con.execute(
                "SELECT seq, temp_milli, humidity_milli, at_ms, uptime_ms FROM sample"
                " WHERE stream = ? AND seq > ? AND (at_ms IS NOT NULL OR ?)"
                " ORDER BY seq LIMIT ?",
                (
                    stream,
                    place.seq if at_place == place.place else -1,
                    started == self._machine_start,
                    limit - len(samples),
                ),
            ).fetchall()
            if not rows:
                continue
            low = self._low(stream)
            samples += (
                Waiting(
                    boot=boot,
                    seq=seq,
                    low=low,
                    temp_c=temp_milli / 1000,
                    humidity_pct=None if humidity is None else humidity / 1000,
                    at_s=None if at_ms is None else at_ms / 1000,
                    uptime_s=uptime_ms / 1000,
                )
                for seq, temp_milli, humidity, at_ms, uptime_ms in rows
            )
            place = Place(at_place, rows[-1][0])
        return samples, place

    def committed(self, boots: Mapping[str, int]) -> int:
        """Let go of what the monitor holds: each boot's samples up to its number."""
        gone = 0
        with self._writing():
            for boot, through in boots.items():
                gone += self._con.execute(
                    "DELETE FROM sample WHERE seq <= ?"
                    " AND stream = (SELECT id FROM stream WHERE boot = ?)",
                    (through, boot),
                ).rowcount
            if gone:
                self._forget_empty_streams()
        self._count -= gone
        return gone

    def bytes_on_disk(self) -> int:
        """Size of the main file."""
        pages, size = (
            self._con.execute(f"PRAGMA {what}").fetchone()[0]
            for what in ("page_count", "page_size")
        )
        return int(pages * size)

    @contextmanager
    def _writing(self) -> Iterator[None]:
        try:
            self._con.execute("BEGIN IMMEDIATE")
            yield
            self._con.execute("COMMIT")
        except BaseException as error:
            with suppress(sqlite3.Error):
                self._con.execute("ROLLBACK")
            if isinstance(error, sqlite3.Error):
                raise OutboxError(f"the outbox cannot be written: {error}") from error
            raise

    def _date(self, started: str, offset_ms: int) -> None:
        self._con.execute(
            "UPDATE machine_start SET offset_ms = ? WHERE name = ?", (offset_ms, started)
        )
        self._con.execute(
            "UPDATE sample SET at_ms = uptime_ms + ? WHERE at_ms IS NULL"
            " AND stream IN (SELECT id FROM stream WHERE started = ?)",
            (offset_ms, started),
        )

    def _low(self, stream: int) -> int:
        row = self._con.execute("SELECT min(seq) FROM sample WHERE stream = ?", (stream,))
        return int(row.fetchone()[0])

    def _next_seq(self, stream: int) -> int:
        row = self._con.execute("SELECT next_seq FROM stream WHERE id = ?", (stream,))
        return int(row.fetchone()[0])

    def _set_next_seq(self, stream: int, seq: int) -> None:
        self._con.execute("UPDATE stream SET next_seq = ? WHERE id = ?", (seq, stream))

    def _add_stream(self, boot: str, started: str, thinned: int, place: float) -> int:
        cursor = self._con.execute(
            "INSERT INTO stream (boot, started, thinned, place, next_seq) VALUES (?, ?, ?, ?, 0)",
            (boot, started, thinned, place),
        )
        return int(cursor.lastrowid or 0)

    def _forget_empty_streams(self) -> None:
        self._con.execute(
            "DELETE FROM stream WHERE boot != ?"
            " AND NOT EXISTS (SELECT 1 FROM sample WHERE stream = stream.id)",
            (self.boot,),
        )
        self._con.execute(
            "DELETE FROM machine_start WHERE name != ?"
            " AND NOT EXISTS (SELECT 1 FROM stream WHERE started = name)",
            (self._machine_start,),
        )

    def _thin(self) -> bool:
        """Leave out every other sample of the oldest dense stretch; False if none is left."""
        with self._writing():
            found = self._dense_stretch()
            if found is None:
                return False
            stream, last_seq, size = found
            boot, started, thinned, place = self._con.execute(
                "SELECT boot, started, thinned, place FROM stream WHERE id = ?", (stream,)
            ).fetchone()
            target = self._thinner_stream(started, thinned + 1, place)
            seq = self._next_seq(target)
            kept = self._con.execute(
                "INSERT INTO sample SELECT ?, ? + row_number() OVER (ORDER BY seq) - 1,"
                " uptime_ms, at_ms, temp_milli, humidity_milli FROM ("
                "SELECT *, row_number() OVER (ORDER BY seq) AS nth FROM sample"
                " WHERE stream = ? AND seq <= ?) WHERE nth % 2 = 1",
                (target, seq, stream, last_seq),
            ).rowcount
            self._con.execute(
                "DELETE FROM sample WHERE stream = ? AND seq <= ?", (stream, last_seq)
            )
            self._set_next_seq(target, seq + kept)
            self._forget_empty_streams()
        self._count -= size - kept
        log.info("outbox full: %d old samples of boot %s thinned to %d", size, boot, kept)
        return True

    def _dense_stretch(self) -> tuple[int, int, int] | None:
        """(stream, last seq, samples) of the oldest stretch of the least thinned stream.

        The newest samples are left alone while anything older can give way.
        """
        streams = self._con.execute(
            "SELECT id, thinned, count(*) FROM stream JOIN sample ON stream = id"
            " GROUP BY id ORDER BY place"
        ).fetchall()
        block = max(2, min(_THIN_BLOCK, self._max_samples // 10))
        recent = int(self._max_samples * _RECENT_SHARE)
        spare = self._count - recent
        choices: list[tuple[int, int, int, int]] = []
        for stream, thinned, count in streams:
            size = min(block, count, spare)
            spare -= count
            if size >= 2:
                choices.append((thinned, len(choices), stream, size))
        if not choices:
            return None
        _, _, stream, size = min(choices)
        last = self._con.execute(
            "SELECT seq FROM sample WHERE stream = ? ORDER BY seq LIMIT 1 OFFSET ?",
            (stream, size - 1),
        ).fetchone()[0]
        return stream, int(last), size

    def _thinner_stream(self, started: str, thinned: int, place: float) -> int:
        """The stream just before `place` if it fits, else a new one there."""
        before = self._con.execute(
            "SELECT id, started, thinned, place FROM stream WHERE place < ?"
            " ORDER BY place DESC LIMIT 1",
            (place,),
        ).fetchone()
        if before and before[1] == started and before[2] == thinned:
            return int(before[0])
        between = (place + (before[3] if before else place - 1.0)) / 2
        return self._add_stream(secrets.token_hex(6), started, thinned, between)
