"""The monitor's loop: take in what came, think when it is time, never fall silent.

One loop and one writer. It wakes on a message, on a person's act and on time alone. When
the network thread dies, so does the process, and the service manager starts it again.
"""

from __future__ import annotations

import logging
import shutil
import sqlite3
import threading
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path

from monitor import intake, validation
from monitor.clock import Clock
from monitor.core.alarms.words import local_words
from monitor.core.vocabulary import ResinProfile
from monitor.errors import MonitorError
from monitor.mqtt_link import Link
from monitor.store import connection, resins, trouble
from monitor.watch import Watch, Works

log = logging.getLogger(__name__)

# How soon a person's tap is answered; the check costs microseconds.
LOOK_EVERY_S = 0.25
# Between two thinks at least this long, however fast people tap and readings come.
THINK_APART_S = 0.5
# So many batches in a row; then it thinks and tells the watchdog, whatever still waits.
DRAINS = 20


class MonitorDied(MonitorError):
    """A part that cannot be mended from inside; the process should end and be started anew."""


@dataclass
class Monitor:
    """Everything the loop needs, put together at the edge."""

    store_path: Path
    site: str
    link: Link
    watch: Watch
    clock: Clock
    wake: threading.Event
    tick_s: float = 2.0
    foreign: Mapping[str, tuple[str, validation.Fields]] = field(default_factory=dict)
    shelf: Sequence[ResinProfile] = ()
    clock_set: Callable[[], bool] | None = None
    channel_faults: Callable[[], Mapping[str, str | None]] = dict
    notify: Callable[[str], None] = lambda _words: None
    _trouble: str = ""

    def run(self, stop: threading.Event) -> None:
        """Work until told to stop. Raises MonitorDied, StoreError."""
        con = connection.open_owner(self.store_path)
        try:
            with connection.writing(con):
                for profile in self.shelf:
                    resins.save_resin(con, profile, self.clock.now_s(), origin="library")
            self.link.start()
            self.notify("READY=1")
            try:
                self._loop(con, stop)
            except (sqlite3.DatabaseError, OSError) as error:
                con.check()  # its going may show as this
                if isinstance(error, sqlite3.Error):
                    raise trouble.named(self.store_path, error) from error
                raise
        finally:
            self.link.stop()
            con.close()

    def _loop(self, con: connection.Owned, stop: threading.Event) -> None:
        version = -1
        thought_s = float("-inf")
        news = True
        greeted = 0
        while not stop.is_set():
            con.check()
            if self.link.connected and self.link.epoch != greeted:
                greeted = self.link.epoch
                intake.tell_committed(con, self.link, self.site)
            fresh = 0
            for _ in range(DRAINS):
                taken = intake.drain(con, self.link, self.site, self.foreign, self.clock.now_s())
                fresh += taken
                if not taken:
                    break
            if not self.link.alive():
                raise MonitorDied(
                    f"the line to the broker broke inside the program ({self.link.fault!r})"
                )
            seen = connection.data_version(con)
            news = news or seen != version or fresh > 0
            since_s = self.clock.monotonic_s() - thought_s
            if since_s >= self.tick_s or (news and since_s >= THINK_APART_S):
                self._think(con)
                version, news = connection.data_version(con), False
                thought_s = self.clock.monotonic_s()
                self.notify("WATCHDOG=1")
            self.wake.clear()
            if self.link.inbox.empty():
                self.clock.wait(self.wake, LOOK_EVERY_S)

    def _think(self, con: sqlite3.Connection) -> None:
        works = Works(
            broker_connected=self.link.connected,
            disk_free_bytes=float(shutil.disk_usage(self.store_path.parent).free),
            clock_set=self.clock_set() if self.clock_set is not None else None,
            channel_faults=self.channel_faults(),
        )
        try:
            changes = self.watch.think(con, self.clock.now_s(), works)
        except sqlite3.OperationalError as error:
            # A full disk or a long hold by another: say so, keep listening, try next tick.
            if str(error) != self._trouble:
                log.error("could not write what was thought: %s", error)
            self._trouble = str(error)
            return
        self._trouble = ""
        for change in changes:
            if change.notice:
                words = local_words(change.words, _utc)
                log.info("%s %s: %s", change.key, change.subject, words)


def _utc(at_s: float) -> str:
    """A moment as a log tells it, which knows no local time."""
    return datetime.fromtimestamp(at_s, UTC).strftime("%Y-%m-%d %H:%M UTC")
