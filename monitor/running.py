"""Each role as it runs: threads held by name, watched, and ended together."""

from __future__ import annotations

import contextlib
import logging
import socket
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from http.client import HTTPConnection, HTTPException
from pathlib import Path
from typing import Any

from firmware_side import clock as node_clock
from firmware_side import node as sensor_node
from firmware_side.notify import notify
from firmware_side.sensors.simulated import SimulatedSource
from monitor import assembly, brokers, demo, node_role
from monitor.clock import Clock
from monitor.config import BrokerConfig, Config, ConfigError, DashboardConfig
from monitor.daemon import MonitorDied
from monitor.store import connection
from monitor.store.errors import StoreError

log = logging.getLogger(__name__)

SAY = Callable[[str], None]
WATCHDOG_S = 10.0
ANSWER_S = 5.0
MOST_BODY_BYTES = 64 * 2**20  # the largest photo with room to spare; waitress would take 1 GB


@dataclass
class Crew:
    """Threads of one process. When one dies, all stop, and its fault is raised again."""

    stop: threading.Event
    faults: list[BaseException] = field(default_factory=list)
    _threads: list[threading.Thread] = field(default_factory=list)

    def add(self, name: str, work: Callable[[], None]) -> None:
        """Start a thread; its end before the stop is a fault."""

        def run() -> None:
            try:
                work()
            except BaseException as error:  # noqa: BLE001 - kept and raised in the main thread
                self.faults.append(error)
            finally:
                self.stop.set()

        thread = threading.Thread(target=run, name=name, daemon=True)
        self._threads.append(thread)
        thread.start()

    def finish(self) -> None:
        """Wait until all have ended; raise the first fault."""
        self.stop.set()
        for thread in self._threads:
            thread.join(10)
        if self.faults:
            raise self.faults[0]


@contextlib.contextmanager
def _page(config: Config, clock: Clock, is_demo: bool = False) -> Iterator[str]:
    """Serve the page from a production server; yields its address."""
    # Here, so that the monitor alone does not carry Flask.
    from waitress import wasyncore
    from waitress.server import create_server

    from dashboard.app import create_app
    from dashboard.options import Options

    parts = assembly.page_parts()
    app = create_app(
        Options(
            db_path=config.store_path,
            now_s=clock.now_s,
            zone=str(assembly.zone_of(config)),
            demo=is_demo,
            speed=clock.speed,
            base_url=config.dashboard.base_url,
            **parts,
        )
    )
    sockets: dict[int, Any] = {}
    try:
        # Twice the phones of a household: each polls, none holds a thread.
        server = create_server(
            app,
            map=sockets,
            host=config.dashboard.host,
            port=config.dashboard.port,
            threads=8,
            max_request_body_size=MOST_BODY_BYTES,
        )
    except (OSError, ValueError) as error:  # waitress: ValueError for a host that is none
        raise _cannot_listen(config.dashboard, error) from error
    thread = threading.Thread(target=server.run, name="page", daemon=True)
    thread.start()
    try:
        yield _address(config)
    finally:
        # Closed in its own thread: from here its select could meet a closed socket.
        wakers = [one for one in sockets.values() if hasattr(one, "pull_trigger")]
        for waker in wakers[:1]:  # none is left where the server has ended by itself
            waker.pull_trigger(lambda: wasyncore.close_all(sockets, True))
        thread.join(5)
        server.task_dispatcher.shutdown()


def _cannot_listen(page: DashboardConfig, error: Exception) -> ConfigError:
    return ConfigError(
        [f"the page cannot listen on {page.host} port {page.port} "
         f"({getattr(error, 'strerror', None) or error}); choose another port, or a host "
         "of this machine (0.0.0.0 is all of them)"]
    )  # fmt: skip


def _address(config: Config) -> str:
    host = config.dashboard.host
    if host in ("0.0.0.0", "::", ""):
        host = f"{socket.gethostname()}.local"
    if ":" in host:  # RFC 3986 section 3.2.2
        host = f"[{host}]"
    return f"http://{host}:{config.dashboard.port}/"


def run_monitor(config: Config, stop: threading.Event) -> None:
    """The monitor and the telling until told to stop."""
    node_role.make_folder(config.data_dir)
    with connection.holding(config.store_path):
        _monitor(config, Clock(node_role.start_s(config), config.clock.speed), stop)


def _monitor(config: Config, clock: Clock, stop: threading.Event) -> None:
    connection.open_owner(config.store_path).close()
    monitor, dispatcher = assembly.monitor_of(config, clock)
    crew = Crew(stop)

    def tell() -> None:
        dispatcher.run(stop, config.store_path, clock.now_s)
        if isinstance(dispatcher.fault, StoreError):
            raise dispatcher.fault
        if dispatcher.fault is not None:
            raise MonitorDied(f"notices are no longer sent ({dispatcher.fault})")

    crew.add("telling", tell)
    try:
        monitor.run(stop)
    finally:
        crew.finish()


def run_dashboard(config: Config, stop: threading.Event, say: SAY) -> None:
    """The page until told to stop; the monitor must have prepared the store."""
    clock = Clock(node_role.start_s(config), config.clock.speed)
    if not config.store_path.exists():
        raise ConfigError([f"there is no store {config.store_path} yet; start the monitor first"])
    with _page(config, clock) as address:
        say(f"The page is at {address}")
        notify("READY=1")
        while not stop.wait(WATCHDOG_S):
            if _answers(config.dashboard):
                notify("WATCHDOG=1")
            else:
                log.error("the page does not answer; the service manager will start it anew")


def _answers(page: DashboardConfig) -> bool:
    """Whether the page serves, asked as a browser would: a hung server says nothing."""
    everywhere = {"0.0.0.0": "127.0.0.1", "": "127.0.0.1", "::": "::1"}
    line = HTTPConnection(everywhere.get(page.host, page.host), page.port, timeout=ANSWER_S)
    try:
        line.request("GET", "/healthz")
        line.getresponse()
    except (OSError, HTTPException):
        return False
    finally:
        line.close()
    return True


def run_up(config: Config, stop: threading.Event, say: SAY) -> None:
    """Everything that the config names, in one process."""
    node_role.make_folder(config.data_dir)
    with connection.holding(config.store_path):
        broker = assembly.broker_of(config)
        if broker is not None:
            broker.start()
        try:
            _together(config, broker, stop, say)
        finally:
            if broker is not None:
                broker.stop()


def _together(
    config: Config, broker: brokers.Broker | None, stop: threading.Event, say: SAY
) -> None:
    connection.open_owner(config.store_path).close()
    clock = Clock(node_role.start_s(config), config.clock.speed)
    crew = Crew(stop)
    with _page(config, clock) as address:
        say(f"The page is at {address}")
        if broker is not None:
            crew.add("broker", lambda: brokers.keep(broker, stop))
        crew.add("monitor", lambda: _monitor(config, clock, stop))
        if config.node.source != "none":
            ticking = node_clock.Clock(node_role.start_s(config), config.clock.speed)
            source = node_role.source_of(config, ticking, stop)
            options = node_role.node_options(config)
            crew.add("node", lambda: sensor_node.run(options, source, ticking, stop))
        stop.wait()
        crew.finish()


def run_demo(folder: Path, speed: float, port: int, stop: threading.Event, say: SAY) -> None:
    """The invented studio, from an evening with a cold night ahead."""
    page = DashboardConfig(port=port)
    try:
        # Before the work of making up a past: a port that is taken is told at once.
        socket.create_server((page.host, page.port)).close()
    except OSError as error:
        raise _cannot_listen(page, error) from error
    node_role.make_folder(folder)
    broker = _demo_broker(folder)
    broker.start()
    try:
        config = Config(
            site=demo.SITE,
            data_dir=folder,
            broker=BrokerConfig(host=broker.host, port=broker.port),
            dashboard=page,
        )
        config = replace(config, monitor=replace(config.monitor, tick_s=1.0))
        _demo_together(config, speed, stop, say)
    finally:
        broker.stop()


def _demo_broker(folder: Path) -> brokers.Broker:
    if brokers.embedded_installed():
        return brokers.EmbeddedBroker()
    if brokers.mosquitto_binary() is not None:
        return brokers.MosquittoBroker(folder / "broker")
    raise brokers.BrokerError(
        "the demo needs a broker: pip install 'pourside[broker]' (from a checkout: "
        "pip install '.[broker]'), or sudo apt install mosquitto"
    )


def _demo_together(config: Config, speed: float, stop: threading.Event, say: SAY) -> None:
    offset = assembly.offset_of(assembly.zone_of(config))
    now_s = Clock().now_s()
    start_s = demo.evening(now_s, offset(now_s))
    shelf = {profile.key: profile for profile in assembly.shelf_of(config)}
    # The past is thought through before the clock starts, so that the night begins on time.
    past, _ = assembly.monitor_of(config, Clock(start_s, speed))
    con = connection.open_owner(config.store_path)
    filled = demo.fill(con, past.watch, shelf, start_s, offset(start_s), say, stop)
    con.close()
    if not filled:
        return
    clock = Clock(start_s, speed)
    ticking = node_clock.Clock(start_s, speed)
    source = SimulatedSource(demo.studio(start_s, offset(start_s)), ticking)
    options = replace(
        node_role.node_options(config),
        node=demo.NODE,
        sensor=demo.SENSOR,
        interval_s=max(20.0, speed / 2.0),
    )
    crew = Crew(stop)
    with _page(config, clock, is_demo=True) as address:
        crew.add("monitor", lambda: _monitor(config, clock, stop))
        crew.add("node", lambda: sensor_node.run(options, source, ticking, stop))
        say(f"\nOpen {address}")
        say("Everything shown there is made up: the room, the pieces, the resin, the dates.")
        if speed != 1.0:
            say(f"Time there runs {speed:g} times as fast: an hour passes in {3600 / speed:.3g} s.")
        say("Press Ctrl-C to stop; nothing is left behind unless --keep was given.")
        stop.wait()
        crew.finish()
