"""The tick: read the store, think, write the outlooks and alarms.

Everything is computed anew from stored readings and marks, so a restart, a late message
or a corrected entry comes out right. `think` takes the time as an argument.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from monitor.answers import beliefs, planning, rooms
from monitor.core.alarms import flood, rules, states
from monitor.core.cure import outlook as cure
from monitor.core.room import forecast
from monitor.core.vocabulary import (
    AlarmChange,
    AlarmState,
    Condition,
    Layer,
    Outlook,
    Piece,
    RateDraws,
    RoomPaths,
    RoomSeries,
)
from monitor.store import (
    alarms,
    forecasts,
    marks,
    notices,
    outlooks,
    pieces,
    readings,
    settings,
    status,
)
from monitor.store.connection import writing

FORECAST_EVERY_S = 900.0
# A room that goes another way than foretold is foretold anew, though not at every tick.
SURPRISED_C, SURPRISED_EVERY_S = 1.0, 120.0
FORECAST_PAST_S = 60 * 86400.0
BELIEF_EVERY_S = 3600.0
PATHS = 200
_EMPTY = np.empty(0)
# A reading older than this is history when it arrives: no alarm is raised about it now.
JUDGE_BACK_S = 2 * 86400.0


@dataclass(frozen=True)
class Works:
    """What the edge knows of the program's own means at one tick."""

    broker_connected: bool | None = None
    disk_free_bytes: float | None = None
    clock_set: bool | None = None
    channel_faults: Mapping[str, str | None] = field(default_factory=dict)


@dataclass
class Watch:
    """Thinks about one store. Holds only caches: what a restart would compute again."""

    silent_after_s: float = 900.0
    surface_offset_c: float = 0.0
    channels: Sequence[tuple[str, str]] = ()
    local_offset_s: Callable[[float], float] = lambda _at_s: 0.0
    facts: Mapping[str, object] = field(default_factory=dict)
    _plans: planning.Keeper = field(default_factory=planning.Keeper)
    _futures: dict[str, tuple[float, RoomPaths]] = field(default_factory=dict)
    _draws: dict[tuple[str, str], tuple[float, int, RateDraws]] = field(default_factory=dict)

    def think(self, con: sqlite3.Connection, now_s: float, works: Works) -> list[AlarmChange]:
        """One tick at `now_s`; returns the alarm changes it led to."""
        with writing(con):
            for sensor in readings.sensors(con):
                rooms.judge_recent(con, sensor.key, now_s)
        bench = pieces.bench(con)
        default = beliefs.first_sensor(con)
        by_room: dict[str | None, list[tuple[Piece, Layer]]] = {}
        for piece, layer in bench:
            by_room.setdefault(layer.sensor or default, []).append((piece, layer))
        found: list[Outlook] = []
        futures: dict[str, RoomPaths] = {}
        for sensor in readings.sensors(con):
            futures[sensor.key] = self._future(con, sensor, now_s)
        for room, pairs in by_room.items():
            series = self._past(con, room, [layer for _, layer in pairs], now_s)
            # Forgotten on the page while we thought, or none at all: the usual room.
            future = futures.get(room or "") or forecast.forecast(series, now_s, paths=PATHS)
            for _, layer in pairs:
                seen = marks.marks(con, layer.id)
                met, ahead = rooms.as_piece_meets(con, layer.probe, series, future, now_s)
                rates = self._rates(con, layer, now_s)
                found.append(cure.outlook(layer, met, ahead, rates, seen, now_s))
        with writing(con):
            for one in found:
                # Deleted on the page while we thought: nothing to keep.
                if pieces.layer(con, one.layer_id) is not None:
                    outlooks.save(con, one)
            for key, future in futures.items():
                if self._futures[key][0] == now_s:  # made at this tick; older ones are stored
                    forecasts.save(con, key, now_s, future)
            changes = self._alarms(con, now_s, works, by_room, found, futures)
            status.beat(con, "monitor", now_s, dict(self.facts))
        self._plans.keep(con, now_s, self.local_offset_s)
        return changes

    def _past(
        self, con: sqlite3.Connection, key: str | None, layers: Iterable[Layer], now_s: float
    ) -> RoomSeries:
        if key is None:
            return RoomSeries(_EMPTY, _EMPTY, _EMPTY)
        from_s = min(layer.poured_at_s for layer in layers) - 3600.0
        return rooms.past(con, key, from_s, now_s)

    def _future(self, con: sqlite3.Connection, sensor: readings.Sensor, now_s: float) -> RoomPaths:
        key = sensor.key
        kept = self._futures.get(key)
        if kept is not None and 0 <= now_s - kept[0] < FORECAST_EVERY_S:
            young = now_s - kept[0] < SURPRISED_EVERY_S
            if young or not _surprising(sensor, *kept):
                return kept[1]
        series = rooms.past(con, key, now_s - FORECAST_PAST_S, now_s)
        future = forecast.forecast(
            series, now_s, paths=PATHS, local_offset_s=self.local_offset_s(now_s)
        )
        self._futures[key] = (now_s, future)
        return future

    def _rates(self, con: sqlite3.Connection, layer: Layer, now_s: float) -> RateDraws:
        """The belief, gathered anew when a mark changed or an hour has passed."""
        signature = hash(tuple(marks.all_marks(con))) ^ hash(
            settings.get(con, beliefs.since_key(layer.resin.key), "")
        )
        kept = self._draws.get((layer.resin.key, layer.batch))
        if kept is not None and kept[1] == signature and 0 <= now_s - kept[0] < BELIEF_EVERY_S:
            return kept[2]
        drawn = beliefs.draws_for(con, layer, now_s, PATHS)
        self._draws[(layer.resin.key, layer.batch)] = (now_s, signature, drawn)
        return drawn

    def _alarms(
        self,
        con: sqlite3.Connection,
        now_s: float,
        works: Works,
        by_room: Mapping[str | None, Sequence[tuple[Piece, Layer]]],
        found: Sequence[Outlook],
        futures: Mapping[str, RoomPaths],
    ) -> list[AlarmChange]:
        """Judge, step each alarm, write the steps, put notices in line."""
        book = _Book({(row.state.key, row.state.subject): row.state for row in alarms.rows(con)})
        for wish in alarms.asked(con):
            book.person(wish)
            alarms.answered(con, wish.id)
        outlook_of = {one.layer_id: one for one in found}
        for sensor in readings.sensors(con):
            layers = [layer for _, layer in by_room.get(sensor.key, ())]
            self._judge_room(con, book, sensor.key, layers, outlook_of, now_s)
            # A room that is too cold already needs no word of the cold to come.
            cold = book.stands("room_too_cold", f"room:{sensor.key}")
            book.take(
                rules.room_to_come(
                    sensor.key, futures[sensor.key], layers, now_s, already_cold=cold
                )
            )
        for pairs in by_room.values():
            for piece, layer in pairs:
                later = any(other.poured_at_s > layer.poured_at_s for other in piece.layers)
                book.take(
                    rules.layer_now(
                        layer,
                        outlook_of[layer.id],
                        marks.marks(con, layer.id),
                        now_s,
                        recoated=later,
                    )
                )
        on_bench = {f"layer:{layer.id}" for pairs in by_room.values() for _, layer in pairs}
        book.leave(on_bench, now_s)
        book.take(self._works(con, now_s, works))
        book.tick(now_s)
        ids = alarms.record(con, book.touched.values(), book.changes)
        room_of = {
            f"layer:{layer.id}": f"room:{key}"
            for key, pairs in by_room.items()
            for _, layer in pairs
        }
        self._tell(con, book.changes, ids, room_of, now_s)
        return book.changes

    def _judge_room(
        self,
        con: sqlite3.Connection,
        book: _Book,
        key: str,
        layers: Sequence[Layer],
        outlook_of: Mapping[int, Outlook],
        now_s: float,
    ) -> None:
        """Every reading since the last one judged, each at its own time."""
        subject = f"room:{key}"
        seen = book.seen_s("room_too_cold", subject)
        first = min((layer.poured_at_s for layer in layers), default=now_s)
        from_s = max(now_s - JUDGE_BACK_S, seen if seen is not None else first)
        series = rooms.past(con, key, from_s, now_s)
        damp_known = rooms.has_humidity(con, key, now_s)
        if seen is not None and len(series.at_s) == 0 and not layers:
            return
        for at_s, temp_c, humidity_pct in zip(
            series.at_s, series.temp_c, series.humidity_pct, strict=True
        ):
            closed = {
                layer.id
                for layer in layers
                if (until := outlook_of[layer.id].surface.open_until_s) is not None
                and until <= at_s
            }
            book.take(
                rules.room_now(
                    key,
                    float(at_s),
                    float(temp_c),
                    float(humidity_pct) if damp_known else None,
                    layers,
                    self.surface_offset_c,
                    closed=closed,
                )
            )

    def _works(self, con: sqlite3.Connection, now_s: float, works: Works) -> tuple[Condition, ...]:
        heard: dict[str, float | None] = {}
        shares: dict[str, float | None] = {}
        for sensor in readings.sensors(con, now_s):
            node = f"{sensor.site}/{sensor.node}"
            heard[node] = readings.later(heard.get(node), sensor.last_at_s, now_s)
            recent = readings.raw(con, sensor.key, now_s - 3600.0, now_s)
            shares[sensor.key] = float((recent.flags != 0).mean()) if len(recent.at_s) else None
        return rules.works(
            now_s,
            last_heard_s=heard,
            silent_after_s=self.silent_after_s,
            clock_set=works.clock_set,
            disk_free_bytes=works.disk_free_bytes,
            broker_connected=works.broker_connected,
            channel_faults=works.channel_faults,
            dropped_shares=shares,
        )

    def _tell(
        self,
        con: sqlite3.Connection,
        changes: Sequence[AlarmChange],
        ids: Sequence[int],
        room_of: Mapping[str, str],
        now_s: float,
    ) -> None:
        """Put one notice a cause in line for every channel that wants it."""
        news = flood.worth_telling(changes)
        if not news:
            return
        number_of = {id(change): number for change, number in zip(changes, ids, strict=True)}
        last_hour = alarms.changes(con, now_s - flood.TOLD_S, now_s + flood.TOLD_S)
        told = flood.worth_telling([one for one in last_hour if one not in changes])
        quiet = [settings.get(con, key, "") for key in ("quiet_from", "quiet_to")]
        for channel, least in self.channels:
            found = flood.gather(news, room_of, told=flood.heard(told, least))
            for notice in reversed(found):  # the most pressing last: it takes the notes along
                if not flood.reaches(notice, least):
                    continue
                due_s = flood.due_at(notice, now_s, self.local_offset_s(now_s), *quiet)
                # Every change of the cause: the dispatcher makes one message of them again.
                for change in notice.changes:
                    notices.queue(con, number_of[id(change)], channel, due_s)
                if notice.priority != "note":
                    notices.take_notes_along(con, channel, due_s)


class _Book:
    """The alarms' states while a tick goes through its conditions."""

    def __init__(self, held: dict[tuple[str, str], AlarmState]) -> None:
        self._held = held
        self.touched: dict[tuple[str, str], AlarmState] = {}
        self.changes: list[AlarmChange] = []

    def seen_s(self, key: str, subject: str) -> float | None:
        """The time of the newest condition this alarm has taken in."""
        state = self._held.get((key, subject))
        return None if state is None else state.seen_s

    def take(self, conditions: Iterable[Condition]) -> None:
        """Step the alarm of each condition."""
        for condition in conditions:
            name = (condition.key, condition.subject)
            state = self._held.get(name, AlarmState(*name))
            self._keep(name, *states.step(state, rules.RULES[condition.key], condition))

    def stands(self, key: str, subject: str) -> bool:
        """Whether this alarm is raised just now, seen or not."""
        state = self._held.get((key, subject))
        return state is not None and states.active(state)

    def person(self, wish: alarms.Ask) -> None:
        """Carry out what a person asked."""
        name = (wish.key, wish.subject)
        if name in self._held:
            rule = rules.RULES[wish.key]
            self._keep(
                name,
                *states.person(self._held[name], rule, wish.act, wish.at_s, wish.until_s, wish.by),
            )

    def leave(self, on_bench: set[str], now_s: float) -> None:
        """A layer that left the bench has no alarms any more: suppressed by design."""
        for key, subject in list(self._held):
            if subject.startswith("layer:") and subject not in on_bench:
                words = "The layer is off the bench."
                self.take([Condition(key, subject, now_s, None, words, meaningful=False)])

    def tick(self, now_s: float) -> None:
        """What time alone does to every alarm."""
        for name, state in list(self._held.items()):
            self._keep(name, *states.tick(state, rules.RULES[name[0]], now_s))

    def _keep(self, name: tuple[str, str], state: AlarmState, change: AlarmChange | None) -> None:
        if state != self._held.get(name):
            self._held[name] = self.touched[name] = state
        if change is not None:
            self.changes.append(change)


def _surprising(sensor: readings.Sensor, made_s: float, future: RoomPaths) -> bool:
    """Whether a reading since then lies far from what was foretold for it."""
    at_s, temp_c = sensor.last_at_s, sensor.last_temp_c
    if at_s is None or temp_c is None or at_s <= made_s:
        return False
    foretold_c = float(np.interp(at_s, future.at_s, np.median(future.temp_c, axis=0)))
    return abs(temp_c - foretold_c) > SURPRISED_C
