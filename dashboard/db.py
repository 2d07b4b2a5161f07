"""The page's connections: one reader a request, and a writer for what a person did."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager

from flask import Flask, current_app, g

from dashboard.options import Options
from monitor.store import connection


def options() -> Options:
    """The options of this application."""
    found: Options = current_app.config["OPTIONS"]
    return found


def now_s() -> float:
    """The time, as the edge tells it."""
    return options().now_s()


def reader() -> sqlite3.Connection:
    """This request's reading connection; a write through it raises."""
    if "reader" not in g:
        g.reader = connection.open_reader(options().db_path)
    con: sqlite3.Connection = g.reader
    return con


@contextmanager
def acting() -> Iterator[sqlite3.Connection]:
    """A transaction for what a person did."""
    with (
        closing(connection.open_writer(options().db_path)) as con,
        connection.writing(con),
    ):
        yield con


def close_reader(_error: BaseException | None = None) -> None:
    """Close the request's connection."""
    con = g.pop("reader", None)
    if con is not None:
        con.close()


def install(app: Flask) -> None:
    """Have every request close what it opened."""
    app.teardown_appcontext(close_reader)
