"""What can be wrong with one reading, as bits and as words."""

from __future__ import annotations

from enum import IntFlag


class Flag(IntFlag):
    """One bit a fault. A reading may carry several; 0 is a good reading."""

    MISSING = 1  # no value came
    SENTINEL = 2  # the driver's way of saying "no answer"
    RANGE = 4  # beyond what the sensor can measure
    SPIKE = 8  # leaves its neighbours and comes straight back
    FROZEN = 16  # both channels repeat to the last digit for too long
    HUMIDITY_STUCK = 32  # humidity nailed to an end of its scale or to one value
    CLOCK = 64  # stamped by a clock that was not set
    DUPLICATE_HOUR = 128  # an hour of local time that came twice
    TWO_ROOMS = 256  # two sensors writing under one name
    DRIFT = 512  # humidity marches one way, day after day, at one temperature


WORDS: dict[Flag, str] = {
    Flag.MISSING: "no value",
    Flag.SENTINEL: "read failure",
    Flag.RANGE: "out of the sensor's range",
    Flag.SPIKE: "spike",
    Flag.FROZEN: "frozen",
    Flag.HUMIDITY_STUCK: "humidity stuck",
    Flag.CLOCK: "clock not set",
    Flag.DUPLICATE_HOUR: "hour stamped twice",
    Flag.TWO_ROOMS: "two sensors under one name",
    Flag.DRIFT: "slow drift",
}

HUMIDITY_ONLY = Flag.HUMIDITY_STUCK | Flag.DRIFT
"""Faults that leave the temperature of the reading sound."""


def reason_words(flag: int) -> tuple[str, ...]:
    """The faults in one reading's flags, in words; empty for a good reading."""
    return tuple(words for one, words in WORDS.items() if flag & one)
