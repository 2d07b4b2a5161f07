"""Real parts for the tests: a store on disk, a real Mosquitto, the embedded broker."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings
from werkzeug.test import TestResponse
from werkzeug.wrappers import Response

from monitor import brokers
from monitor.store import connection

# A busy machine is slow, not wrong: no example is judged by the clock.
settings.register_profile("patient", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("patient")


@pytest.fixture(autouse=True)
def a_space_is_a_space(monkeypatch: pytest.MonkeyPatch) -> None:
    """Pages are read as by a person, to whom a no-break space is a space."""

    def read(self: TestResponse, as_text: bool = False) -> str | bytes:
        got = Response.get_data(self, as_text)
        return got.replace("\u00a0", " ") if isinstance(got, str) else got

    monkeypatch.setattr(TestResponse, "get_data", read, raising=False)


def need(found: object, what: str) -> None:
    """Skip where a real part is missing; on the build machine that is a failure."""
    if found:
        return
    if os.environ.get("CI") == "true":
        pytest.fail(f"{what} is missing on the build machine")
    pytest.skip(f"{what} is not installed here")


@pytest.fixture
def store_path(tmp_path: Path) -> Path:
    """A fresh store file, prepared by its owner."""
    path = tmp_path / "pourside.db"
    connection.open_owner(path).close()
    return path


@pytest.fixture
def con(store_path: Path) -> Iterator[sqlite3.Connection]:
    """A connection of the store's owner."""
    opened = connection.open_owner(store_path)
    yield opened
    opened.close()


MakeBroker = Callable[..., brokers.MosquittoBroker]


@pytest.fixture
def mosquitto(tmp_path: Path) -> Iterator[MakeBroker]:
    """Starts real Mosquittos on loopback; all are ended after the test."""
    need(brokers.mosquitto_binary(), "Mosquitto")
    started: list[brokers.MosquittoBroker] = []

    def make(**options: object) -> brokers.MosquittoBroker:
        folder = tmp_path / f"broker{len(started)}"
        broker = brokers.MosquittoBroker(folder, **options)  # type: ignore[arg-type]
        broker.start()
        started.append(broker)
        return broker

    yield make
    for broker in started:
        broker.stop()


@pytest.fixture
def embedded() -> Iterator[brokers.EmbeddedBroker]:
    """The embedded broker of the extra, on loopback."""
    need(brokers.embedded_installed(), "the embedded broker")
    broker = brokers.EmbeddedBroker()
    broker.start()
    yield broker
    broker.stop()
