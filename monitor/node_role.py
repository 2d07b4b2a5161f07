"""The sensor node from a config. Light: neither numpy nor Flask comes in with it."""

from __future__ import annotations

import threading
from pathlib import Path

from firmware_side import clock as node_clock
from firmware_side import node as sensor_node
from firmware_side.sensors.base import Source
from monitor.config import Config, ConfigError
from monitor.errors import MonitorError


def make_folder(folder: Path) -> None:
    """Make the data folder where it is missing. Raises ConfigError, MonitorError."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except (FileExistsError, NotADirectoryError):
        raise ConfigError(
            [f"{folder} cannot be the data folder: it, or a folder it lies in, is a file; "
             "name another data_dir, or move the file away"]
        ) from None  # fmt: skip
    except OSError as error:
        raise MonitorError(
            f"the data folder {folder} cannot be made ({error.strerror}). "
            f"Make it once: sudo install -d -o $(id -un) {folder}"
        ) from error


def start_s(config: Config) -> float | None:
    """Where a made-up clock starts; 'replay' stands for the first row of the log."""
    if config.clock.start == "replay":
        from firmware_side.sensors.replay import ReplaySource

        return ReplaySource(Path(config.node.file)).first_at_s
    return config.clock.start_s


def source_of(
    config: Config, clock: node_clock.Clock, stop: threading.Event | None = None
) -> Source:
    """The node's sensor. The board's libraries are asked for only where they are used."""
    if config.node.source == "simulated":
        from firmware_side.sensors.simulated import SimulatedSource, SimulatedStudio

        return SimulatedSource(SimulatedStudio(config.node.seed), clock)
    if config.node.source == "replay":
        from firmware_side.sensors.replay import ReplaySource

        return ReplaySource(Path(config.node.file))
    if config.node.source == "kernel":
        from firmware_side.sensors.kernel import KernelThermometer

        return KernelThermometer(Path(config.node.file))
    from firmware_side.sensors.dht22 import Dht22

    return Dht22(config.node.pin, method=config.node.pulse, stop=stop)  # type: ignore[arg-type]


def node_options(config: Config) -> sensor_node.NodeOptions:
    """What the node must know, from the config."""
    return sensor_node.NodeOptions(
        site=config.site,
        node=config.node.name,
        sensor=config.node.sensor,
        interval_s=config.node.interval_s,
        host=config.broker.host,
        port=config.broker.port,
        username=config.broker.username or None,
        password=config.broker.password or None,
        outbox_path=config.outbox_path,
        announce_to=config.node.announce_to or None,
    )


def run_node(config: Config, stop: threading.Event) -> None:
    """The sensor node until told to stop."""
    if config.node.source == "none":
        raise ConfigError(["node.source is 'none': name dht22, simulated or replay"])
    clock = node_clock.Clock(start_s(config), config.clock.speed)
    make_folder(config.outbox_path.parent)
    sensor_node.run(node_options(config), source_of(config, clock, stop), clock, stop)
