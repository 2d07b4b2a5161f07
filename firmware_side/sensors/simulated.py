"""A studio that exists only in numbers: air, walls, a heater, a door, damp, a DHT22.

Two heat stores (air with furniture, and walls) lose heat to an outdoors of days, nights and
passing weather; a heater holds the day's temperature and a lower one at night. Vapour comes
and goes with the air and the walls. A sensor of the DHT22's resolution and noise reads it.
All of it follows from a seed and an instant, so any moment can be asked for in any order.

Everything here is made up: figures of a small, poorly insulated workroom, common practice,
no published source; saturation by the Magnus form, 17.62 and 243.12 degC (WMO-No. 8).
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import NamedTuple

from firmware_side.clock import NodeClock
from firmware_side.sensors.base import Sample, SensorFault

_STEP_S = 60
_BLOCK_S = 7 * 86_400
# Eight times the walls' time constant: what the room was like before is forgotten.
_SPIN_UP_S = 6 * 86_400
_SPIN_UP_STEP_S = 300
_KEPT_BLOCKS = 16

_MASK = (1 << 64) - 1


@dataclass(frozen=True)
class Studio:
    """The room and what is done in it. Hours are of a local clock at `utc_offset_h`."""

    outdoor_mean_c: float = 3.0
    outdoor_swing_c: float = 4.0
    weather_sd_c: float = 2.5
    outdoor_humidity_pct: float = 82.0
    day_set_c: float = 21.5
    night_set_c: float = 17.0
    day_from_h: float = 7.0
    day_to_h: float = 22.5
    heater_w: float = 3000.0
    heater_off: tuple[tuple[float, float], ...] = ()
    cold_nights: tuple[tuple[float, float, float], ...] = ()
    door_per_day: float = 5.0
    vapour_g_h: float = 45.0
    utc_offset_h: float = 0.0
    volume_m3: float = 45.0
    air_j_k: float = 250e3
    walls_j_k: float = 4.0e6
    air_to_walls_w_k: float = 180.0
    air_to_out_w_k: float = 25.0
    walls_to_out_w_k: float = 40.0


class History(NamedTuple):
    """A stretch of readings as three lists of one length."""

    at_s: list[float]
    temp_c: list[float]
    humidity_pct: list[float]


class SimulatedStudio:
    """What the sensor in the studio shows at any instant."""

    def __init__(self, seed: int = 1, studio: Studio | None = None) -> None:
        self._seed = seed & _MASK
        self._studio = studio or Studio()
        self._blocks: dict[int, list[tuple[float, float]]] = {}

    def at(self, t_s: float) -> tuple[float, float]:
        """(temp_c, humidity_pct) as the sensor shows them, in steps of 0.1."""
        temp_c, humidity_pct = self.true_at(t_s)
        tick = int(t_s // 2) * 2  # the sensor makes a new value every 2 s
        temp_c += 0.08 * self._noise(tick, 1)
        humidity_pct += 0.3 * self._noise(tick, 2)
        return round(temp_c, 1), round(min(99.9, max(1.0, humidity_pct)), 1)

    def true_at(self, t_s: float) -> tuple[float, float]:
        """(temp_c, humidity_pct) of the air, before the sensor."""
        block, within_s = divmod(t_s, _BLOCK_S)
        path = self._blocks.get(int(block))
        if path is None:
            path = self._computed(int(block))
        step, part = divmod(within_s, _STEP_S)
        i = int(step)
        part /= _STEP_S
        (t0, h0), (t1, h1) = path[i], path[i + 1]
        return t0 + part * (t1 - t0), h0 + part * (h1 - h0)

    def history(self, from_s: float, to_s: float, step_s: float) -> History:
        """Readings from `from_s` up to and without `to_s`, one every `step_s`."""
        if step_s <= 0:
            raise ValueError(f"step_s is {step_s}, expected more than 0")
        count = max(0, math.ceil((to_s - from_s) / step_s))
        at_s = [from_s + i * step_s for i in range(count)]
        both = [self.at(t) for t in at_s]
        return History(at_s, [pair[0] for pair in both], [pair[1] for pair in both])

    def outdoor_c(self, t_s: float) -> float:
        """Outdoor temperature: coldest about 5 h, warmest about 15 h, weather on top."""
        s = self._studio
        hour = (t_s / 3600.0 + s.utc_offset_h) % 24.0
        day = -math.cos(2 * math.pi * (hour - 4.0) / 24.0)
        # Three waves of unlike lengths, smooth noise through random heights.
        weather = self._smooth(t_s, 60_000.0, 3) * 0.7 + self._smooth(t_s, 260_000.0, 4) * 1.2
        out_c = s.outdoor_mean_c + s.outdoor_swing_c * day + s.weather_sd_c * weather
        return out_c + sum(delta for a, b, delta in s.cold_nights if a <= t_s < b)

    def fails_at(self, t_s: float, share: float) -> bool:
        """Whether the sensor gives no answer at this instant; `share` of instants do."""
        return self._uniform(int(t_s), 8) < share

    def _computed(self, block: int) -> list[tuple[float, float]]:
        start_s = block * _BLOCK_S
        vapour = 0.45 * _saturation_g_m3(19.0)
        room = (19.0, 16.0, vapour, vapour)
        for t_s in range(start_s - _SPIN_UP_S, start_s, _SPIN_UP_STEP_S):
            room = self._stepped(room, t_s, _SPIN_UP_STEP_S)
        path = list(self._walk(room, start_s))
        while len(self._blocks) >= _KEPT_BLOCKS:
            del self._blocks[next(iter(self._blocks))]
        self._blocks[block] = path
        return path

    def _walk(
        self, room: tuple[float, float, float, float], start_s: int
    ) -> Iterator[tuple[float, float]]:
        for t_s in range(start_s, start_s + _BLOCK_S + 1, _STEP_S):
            air_c, _, vapour, _ = room
            yield air_c, min(100.0, 100.0 * vapour / _saturation_g_m3(air_c))
            room = self._stepped(room, t_s, _STEP_S)

    def _stepped(
        self, room: tuple[float, float, float, float], t_s: float, step_s: float
    ) -> tuple[float, float, float, float]:
        s = self._studio
        air_c, walls_c, vapour, damp = room  # degC, degC, g/m3, g/m3 (what the walls give off)
        out_c = self.outdoor_c(t_s)
        hour = (t_s / 3600.0 + s.utc_offset_h) % 24.0
        at_work = s.day_from_h <= hour < s.day_to_h
        door = 120.0 if at_work and self._door_open(t_s) else 0.0  # W/K of outdoor air
        set_c = s.day_set_c if at_work else s.night_set_c
        off = any(a <= t_s < b for a, b in s.heater_off)
        # In proportion to the lack of warmth, full from 1.5 K below: no on-off hunting.
        heat_w = 0.0 if off else s.heater_w * min(1.0, max(0.0, (set_c - air_c) / 1.5))
        # The air follows within a quarter of an hour: exact over the step, at rest ends.
        loss = s.air_to_walls_w_k + s.air_to_out_w_k + door
        gain = heat_w + s.air_to_walls_w_k * walls_c + (s.air_to_out_w_k + door) * out_c
        rest_c = gain / loss
        to_heater = 0.0 if off or not 0.0 < heat_w < s.heater_w else s.heater_w / 1.5
        if to_heater:
            rest_c = (
                to_heater * set_c + s.air_to_walls_w_k * walls_c + (s.air_to_out_w_k + door) * out_c
            ) / (loss + to_heater)
        keep = math.exp(-(loss + to_heater) * step_s / s.air_j_k)
        air_next = rest_c + (air_c - rest_c) * keep
        walls_next = walls_c + step_s / s.walls_j_k * (
            s.air_to_walls_w_k * (air_c - walls_c) + s.walls_to_out_w_k * (out_c - walls_c)
        )
        out_vapour = s.outdoor_humidity_pct / 100.0 * _saturation_g_m3(out_c)
        air_changes_h = 0.5 + (4.0 if door else 0.0)
        exchange = air_changes_h * (out_vapour - vapour) + 1.5 * (damp - vapour)
        source = s.vapour_g_h / s.volume_m3 if at_work else 0.1 * s.vapour_g_h / s.volume_m3
        # Air damper than its walls' surface allows leaves the rest there.
        most = 0.97 * _saturation_g_m3(0.5 * (air_next + walls_next))
        vapour_next = min(most, vapour + step_s / 3600.0 * (exchange + source))
        damp_next = damp + step_s / 3600.0 * 0.06 * (vapour - damp)
        return air_next, walls_next, vapour_next, damp_next

    def _door_open(self, t_s: float) -> bool:
        """A few minutes in a few of the day's hours."""
        hour = int(t_s // 3600)
        if self._uniform(hour, 5) > self._studio.door_per_day / 15.0:
            return False
        opened_s = 3000.0 * self._uniform(hour, 6)
        return opened_s <= t_s % 3600 < opened_s + 120.0 + 360.0 * self._uniform(hour, 7)

    def _smooth(self, t_s: float, length_s: float, what: int) -> float:
        knot, part = divmod(t_s / length_s, 1.0)
        a, b = self._noise(int(knot), what), self._noise(int(knot) + 1, what)
        return a + (b - a) * part * part * (3.0 - 2.0 * part)

    def _noise(self, n: int, what: int) -> float:
        """About standard normal, cut at 2.45 (the sum of two uniform draws)."""
        return (self._uniform(n, what) + self._uniform(n, what + 64) - 1.0) * 2.449

    def _uniform(self, n: int, what: int) -> float:
        """A number in [0, 1) that depends on seed, n and what alone (splitmix64's mixing)."""
        z = self._seed * 0x9E3779B97F4A7C15 + n * 0xD1342543DE82EF95 + what * 0xA24BAED4963EE407
        z &= _MASK
        z = ((z ^ (z >> 30)) * 0xBF58476D1CE4E5B9) & _MASK
        z = ((z ^ (z >> 27)) * 0x94D049BB133111EB) & _MASK
        return ((z ^ (z >> 31)) >> 11) / 9007199254740992.0


class SimulatedSource:
    """The studio's sensor, with its habit of not answering now and then."""

    def __init__(
        self, studio: SimulatedStudio, clock: NodeClock, failing_share: float = 0.05
    ) -> None:
        self._studio = studio
        self._clock = clock
        self._failing_share = failing_share

    def read(self) -> Sample:
        """The studio now, or a `SensorFault` for a share of the readings."""
        now_s = self._clock.now_s()
        if self._studio.fails_at(now_s, self._failing_share):
            raise SensorFault("the simulated sensor's checksum did not match")
        return Sample(*self._studio.at(now_s))


def _saturation_g_m3(temp_c: float) -> float:
    pressure_pa = 611.2 * math.exp(17.62 * temp_c / (243.12 + temp_c))
    return 2.1667 * pressure_pa / (temp_c + 273.15)
