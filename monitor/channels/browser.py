"""Notices for browsers that have the page open: put on show in the store, fetched by the page."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

from monitor.channels.base import ChannelError, first_line
from monitor.core.alarms.flood import Notice
from monitor.store import shown
from monitor.store.connection import open_writer, writing
from monitor.store.errors import StoreError
from monitor.store.shown import OnShow

NAME = "browser"


class BrowserChannel:
    """Puts each notice on show. Whether a browser has shown it, only its owner knows."""

    name = NAME
    goes_to = "every browser that has this page open and was allowed to"

    def __init__(self, store_path: Path, now_s: Callable[[], float]) -> None:
        self._store_path = store_path
        self._now_s = now_s

    def send(self, notice: Notice) -> None:
        """Put the notice on show from now on. Raises ChannelError."""
        on_show = OnShow(notice.id, self._now_s(), notice.priority, notice.title, notice.body)
        try:
            with closing(open_writer(self._store_path)) as con, writing(con):
                shown.show(con, on_show)
        except (sqlite3.Error, StoreError) as error:
            raise ChannelError(f"the store: {first_line(error)}") from error
