"""The works: sensors, clock, disk, broker and channels. Nothing may fall silent unnoticed."""

from __future__ import annotations

from collections.abc import Mapping

from monitor.core.alarms.rule_list import (
    DISK_DEADBAND_BYTES,
    DISK_LOW_BYTES,
    DOUBTFUL_DEADBAND,
    DOUBTFUL_SHARE,
)
from monitor.core.alarms.words import moment
from monitor.core.vocabulary import Condition

# So far ahead a sensor's clock may be of ours.
AHEAD_S = 600.0


def works(
    now_s: float,
    *,
    last_heard_s: Mapping[str, float | None],
    silent_after_s: float,
    clock_set: bool | None,
    disk_free_bytes: float | None,
    broker_connected: bool | None,
    channel_faults: Mapping[str, str | None],
    dropped_shares: Mapping[str, float | None],
) -> tuple[Condition, ...]:
    """Judge the program's own means at `now_s`; None anywhere: not known, so not judged.

    `last_heard_s` by "site/node" (None: never heard, which is not yet silence);
    `channel_faults` by channel name, None where the channel works; `dropped_shares` 0..1 by
    sensor key: the share of its recent readings that failed the checks of quality.
    """
    return (
        *(_silent(now_s, node, at_s, silent_after_s) for node, at_s in last_heard_s.items()),
        *(_doubtful(now_s, key, share) for key, share in dropped_shares.items()),
        _clock(now_s, clock_set),
        _disk(now_s, disk_free_bytes),
        _broker(now_s, broker_connected),
        *(_channel(now_s, name, fault) for name, fault in channel_faults.items()),
    )


def _silent(now_s: float, node: str, heard_s: float | None, silent_after_s: float) -> Condition:
    subject = f"node:{node}"
    if heard_s is None:
        return Condition("sensor_silent", subject, now_s, None, f"{node} was never heard yet.")
    age_s = now_s - heard_s
    wrong = age_s > silent_after_s
    words = f"{node} was heard at {moment(heard_s)}."
    if wrong:
        words = f"Nothing heard from {node} since {moment(heard_s)}."
    elif age_s < -AHEAD_S:
        # Taken for fresh, it would hide a dead sensor for as long as the clock was ahead.
        wrong = True
        words = f"The last reading of {node} is of {moment(heard_s)}: its time lies in the future."
    return Condition("sensor_silent", subject, now_s, wrong, words, age_s, silent_after_s)


def _doubtful(now_s: float, key: str, share: float | None) -> Condition:
    subject = f"room:{key}"
    if share is None:
        return Condition("sensor_doubtful", subject, now_s, None, f"No recent reading of {key}.")
    wrong: bool | None = None
    if share > DOUBTFUL_SHARE:
        wrong = True
    elif share <= DOUBTFUL_SHARE - DOUBTFUL_DEADBAND:
        wrong = False
    words = f"{share:.0%} of the recent readings of {key} are unusable."
    return Condition("sensor_doubtful", subject, now_s, wrong, words, share, DOUBTFUL_SHARE)


def _clock(now_s: float, clock_set: bool | None) -> Condition:
    words = {
        True: "The board's clock is set.",
        False: "The board's clock is not set.",
        None: "Whether the board's clock is set cannot be told.",
    }[clock_set]
    wrong = None if clock_set is None else not clock_set
    return Condition("clock_not_set", "works:clock", now_s, wrong, words)


def _disk(now_s: float, free_bytes: float | None) -> Condition:
    subject = "works:disk"
    if free_bytes is None:
        return Condition("disk_low", subject, now_s, None, "Free disk space is not known.")
    wrong: bool | None = None
    if free_bytes < DISK_LOW_BYTES:
        wrong = True
    elif free_bytes >= DISK_LOW_BYTES + DISK_DEADBAND_BYTES:
        wrong = False
    words = f"{free_bytes / 1e6:.0f} MB of disk left."
    return Condition("disk_low", subject, now_s, wrong, words, free_bytes, DISK_LOW_BYTES)


def _broker(now_s: float, connected: bool | None) -> Condition:
    words = {
        True: "Connected to the broker.",
        False: "No connection to the broker.",
        None: "Whether the broker is there cannot be told.",
    }[connected]
    wrong = None if connected is None else not connected
    return Condition("broker_away", "works:broker", now_s, wrong, words)


def _channel(now_s: float, name: str, fault: str | None) -> Condition:
    words = f"Channel {name} works." if fault is None else f"Channel {name} fails: {fault}"
    subject = f"works:channel:{name}"
    return Condition("channel_failing", subject, now_s, fault is not None, words)
