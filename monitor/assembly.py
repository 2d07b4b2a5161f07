"""Puts the parts together from a config. The one place that knows them all."""

from __future__ import annotations

import logging
import sqlite3
import threading
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from firmware_side import clock as node_clock
from firmware_side.notify import notify
from monitor import brokers, intake, shelf, validation
from monitor.answers import beliefs
from monitor.channels.base import Channel
from monitor.channels.browser import BrowserChannel
from monitor.channels.dispatch import Dispatcher
from monitor.channels.lamp import GpioPins, LampChannel, SimulatedPins
from monitor.channels.library import LibraryChannel
from monitor.channels.mail import MailChannel
from monitor.channels.mqtt import MqttChannel
from monitor.channels.webhook import WebhookChannel
from monitor.clock import Clock
from monitor.config import ChannelConfig, Config, ConfigError, system_zone
from monitor.core.alarms.rules import RULES
from monitor.core.cure import belief, resin
from monitor.core.vocabulary import ResinProfile
from monitor.daemon import Monitor
from monitor.mqtt_link import Link
from monitor.watch import Watch

log = logging.getLogger(__name__)


def zone_of(config: Config) -> ZoneInfo:
    """The zone that the page and the notices speak in."""
    return ZoneInfo(config.time_zone or system_zone())


def offset_of(zone: ZoneInfo) -> Callable[[float], float]:
    """Seconds that local time is ahead of UTC, by the zone's own rules."""

    def offset_s(at_s: float) -> float:
        ahead = datetime.fromtimestamp(at_s, UTC).astimezone(zone).utcoffset()
        return 0.0 if ahead is None else ahead.total_seconds()

    return offset_s


def local_time_of(zone: ZoneInfo) -> Callable[[float], str]:
    """Weekday and clock time as a notice says them."""

    def words(at_s: float) -> str:
        return datetime.fromtimestamp(at_s, UTC).astimezone(zone).strftime("%a %H:%M")

    return words


def shelf_of(config: Config) -> list[ResinProfile]:
    """The library, and the person's own file after it. Raises ShelfError."""
    own = shelf.load(Path(config.monitor.resins)) if config.monitor.resins else []
    return [*shelf.library(), *own]


def broker_of(config: Config) -> brokers.Broker | None:
    """The broker to start ourselves, if any."""
    if config.broker.run == "mosquitto":
        return brokers.MosquittoBroker(
            config.data_dir / "broker",
            config.broker.port,
            config.broker.username,
            config.broker.password,
            config.broker.host,
        )
    if config.broker.run == "embedded":
        return brokers.EmbeddedBroker(config.broker.port)
    return None


def monitor_of(config: Config, clock: Clock) -> tuple[Monitor, Dispatcher]:
    """The monitor and the thread that tells people, not started yet."""
    foreign = {
        one.topic: (
            one.node,
            validation.Fields(one.sensor, one.temperature, one.humidity, one.unit == "F"),
        )
        for one in config.foreign
    }
    wake = threading.Event()
    link = Link(
        config.broker.host,
        config.broker.port,
        client_id=f"pourside-monitor-{config.site}",
        topics=intake.topics(config.site, foreign),
        username=config.broker.username,
        password=config.broker.password,
        will=(f"pourside/{config.site}/monitor/status", b"offline"),
        wake=wake,
        now_s=clock.now_s,
    )
    zone = zone_of(config)
    ours = ("mqtt", "browser")
    if taken := sorted({one.name for one in config.channels} & set(ours)):
        raise ConfigError([f"channels.name = {taken[0]!r}: that one is always there; rename yours"])
    wanted = {**dict.fromkeys(ours, "note"), **{one.name: one.priority for one in config.channels}}
    channels: list[Channel] = [
        MqttChannel(config.site, link.deliver),
        BrowserChannel(config.store_path, clock.now_s),
        *(channel_of(one) for one in config.channels),
    ]
    kinds = {one.name: one.kind for one in config.channels}
    dispatcher = Dispatcher(channels, local_time_of(zone))
    watch = Watch(
        silent_after_s=config.monitor.silent_after_s,
        surface_offset_c=config.monitor.surface_offset_c,
        channels=tuple(wanted.items()),
        local_offset_s=offset_of(zone),
        facts={
            "speed": clock.speed,
            "tick_s": config.monitor.tick_s,
            "site": config.site,
            "channels": [
                {
                    "name": one.name,
                    "kind": kinds.get(one.name, one.name),
                    "goes_to": one.goes_to,
                    "least": wanted[one.name],
                }
                for one in channels
            ],
            # The page words an alarm with the rule it came by; it does not know the core's list.
            "rules": [
                {
                    "key": rule.key,
                    "priority": rule.priority,
                    "consequence": rule.consequence,
                    "act": rule.act,
                    "reason": rule.reason,
                }
                for rule in RULES.values()
            ],
        },
    )
    monitor = Monitor(
        store_path=config.store_path,
        site=config.site,
        link=link,
        watch=watch,
        clock=clock,
        wake=wake,
        tick_s=config.monitor.tick_s,
        foreign=foreign,
        shelf=shelf_of(config),
        clock_set=_clock_set(clock),
        channel_faults=dispatcher.faults,
        notify=notify,
    )
    return monitor, dispatcher


def _clock_set(clock: Clock) -> Callable[[], bool] | None:
    if clock.start_s is not None:
        return None
    return lambda: node_clock.system_clock_is_set(clock.now_s())


def channel_of(config: ChannelConfig) -> Channel:
    """One channel from its settings. Raises ConfigError."""
    if config.kind == "mail":
        recipients = [one.strip() for one in config.to.split(",") if one.strip()]
        if not (config.host and config.sender and recipients):
            raise ConfigError([f"channel {config.name!r}: mail needs host, sender and to"])
        return MailChannel(
            config.host,
            config.port,
            config.sender,
            recipients,
            user=config.username,
            password=config.password,
            security=config.security,  # type: ignore[arg-type]
            name=config.name,
        )
    if config.kind == "lamp":
        pins = (
            GpioPins(int(config.lamp_pin), int(config.buzzer_pin) if config.buzzer_pin else None)
            if config.lamp_pin
            else SimulatedPins()
        )
        return LampChannel(pins, name=config.name)
    if not config.url:
        raise ConfigError([f"channel {config.name!r}: {config.kind} needs url or url_env"])
    if config.kind == "library":
        return LibraryChannel(config.url, name=config.name)
    try:
        return WebhookChannel(config.url, name=config.name)
    except ValueError as error:
        raise ConfigError([str(error)]) from None


def taught(con: sqlite3.Connection, profile: ResinProfile, now_s: float) -> str:
    """What a resin's marks have taught, in words."""
    return belief.draws(beliefs.of_resin(con, profile, now_s), 40).why


def page_parts() -> dict[str, Any]:
    """What the page calls of the core, so that it decides nothing itself."""
    return {"faults": resin.faults, "taught": taught}
