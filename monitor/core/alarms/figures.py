"""How the alarms themselves behaved over a span: do they deserve to be believed?

Terms and thresholds are those of ISA-18.2 / IEC 62682, in own words and from memory:
chattering (three or more times within a minute), standing (a whole shift), stale (more than
a day), response (until somebody said that they know). Acts, such as an open tape window, are
no alarms in that sense, since nothing is wrong: they are counted apart.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from statistics import median

from monitor.core.alarms.rule_list import ACTS
from monitor.core.vocabulary import AlarmChange, AlarmPhase, AlarmState, Priority

CHATTER_TIMES = 3
CHATTER_S = 60.0
STANDING_S = 8 * 3600.0  # a working shift
STALE_S = 24 * 3600.0
DAY_S = 86400.0
PRIORITIES: tuple[Priority, ...] = ("urgent", "soon", "note")

_HIDDEN: frozenset[AlarmPhase] = frozenset({"shelved", "out_of_service"})
_STANDS: frozenset[AlarmPhase] = frozenset({"unacknowledged", "acknowledged"})


@dataclass(frozen=True)
class Stretch:
    """One alarm from its raising until it cleared or was hidden; `to_s` None: it stands yet."""

    key: str
    subject: str
    from_s: float
    to_s: float | None = None
    seen_s: float | None = None
    hidden: bool = False  # a person ended it: hid it, or switched it off

    def length_s(self, now_s: float) -> float:
        """How long it stood, or has stood by `now_s`."""
        return (now_s if self.to_s is None else self.to_s) - self.from_s


@dataclass(frozen=True)
class Frequent:
    """One alarm or act, how often it was raised, and its longest stretch."""

    key: str
    times: int
    longest_s: float


@dataclass(frozen=True)
class Figures:
    """The span's figures. `a_day` has one count a day, in the days' order; acts are left out
    of everything but `acts_by_priority` and `frequent`. `never_seen` of the `alarms` were over
    before anybody said that they know, or hid them.
    """

    from_s: float
    to_s: float
    alarms: int
    acts: int
    a_day: tuple[int, ...]
    mean_a_day: float
    median_a_day: float
    worst_day_s: float
    worst_a_day: int
    alarms_by_priority: Mapping[Priority, int]
    acts_by_priority: Mapping[Priority, int]
    chattering: tuple[tuple[str, str], ...]
    standing: tuple[Stretch, ...]
    stale: tuple[Stretch, ...]
    response_s: float | None
    never_seen: int
    frequent: tuple[Frequent, ...]


def figures(
    changes: Iterable[AlarmChange],
    held: Iterable[AlarmState],
    day_starts_s: Sequence[float],
    to_s: float,
) -> Figures:
    """Reckon up the span from the first of `day_starts_s` to `to_s`, both included.

    `changes` is the journal of the span, in any order; `held` is where each alarm stands at
    `to_s`, for those that were raised before the span. Days begin at `day_starts_s`, rising,
    so that a day of 23 or 25 hours is one day. `standing` and `stale` are stretches longer
    than `STANDING_S` and `STALE_S` of which some part lies in the span, `stale` ones being in
    both. Raises ValueError for days that are not rising or begin after `to_s`.
    """
    days = list(day_starts_s)
    if not days or days != sorted(set(days)) or days[-1] > to_s:
        raise ValueError(
            f"the days of the figures begin at {days}; expected rising moments up to {to_s}"
        )
    steps = sorted(
        (change for change in changes if days[0] <= change.at_s <= to_s),
        key=lambda change: change.at_s,
    )
    raised = [change for change in steps if _raises(change)]
    wrong = [change for change in raised if change.key not in ACTS]
    lived = stretches(steps, held, days[0])
    stood = [one for one in lived if one.key not in ACTS]
    begun = {(change.key, change.subject, change.at_s) for change in wrong}
    counts = Counter(bisect_right(days, change.at_s) - 1 for change in wrong)
    a_day = tuple(counts[day] for day in range(len(days)))
    worst = max(range(len(days)), key=lambda day: a_day[day])
    answers = [one.seen_s - one.from_s for one in stood if one.seen_s is not None]
    return Figures(
        from_s=days[0],
        to_s=to_s,
        alarms=len(wrong),
        acts=len(raised) - len(wrong),
        a_day=a_day,
        mean_a_day=len(wrong) / len(days),
        median_a_day=float(median(a_day)),
        worst_day_s=days[worst],
        worst_a_day=a_day[worst],
        alarms_by_priority=_split(wrong),
        acts_by_priority=_split(change for change in raised if change.key in ACTS),
        chattering=_chattering(wrong),
        standing=tuple(one for one in stood if one.length_s(to_s) > STANDING_S),
        stale=tuple(one for one in stood if one.length_s(to_s) > STALE_S),
        response_s=median(answers) if answers else None,
        never_seen=sum(
            one.to_s is not None and one.seen_s is None and not one.hidden
            for one in stood
            if (one.key, one.subject, one.from_s) in begun
        ),
        frequent=_frequent(raised, lived, to_s),
    )


def stretches(
    steps: Sequence[AlarmChange], held: Iterable[AlarmState], from_s: float
) -> tuple[Stretch, ...]:
    """The stretches in which an alarm stood, by their beginning. `steps` rise in time.

    One that stood already at `from_s` begins where `held` knows it, else at `from_s`.
    """
    open_: dict[tuple[str, str], Stretch] = {}
    closed: list[Stretch] = []
    for change in steps:
        name = (change.key, change.subject)
        if _raises(change):
            open_[name] = Stretch(*name, from_s=change.at_s)
            continue
        if change.before not in _STANDS:
            continue
        stretch = open_.pop(name, Stretch(*name, from_s=from_s))
        if change.after == "acknowledged":
            stretch = replace(stretch, seen_s=change.at_s)
        if change.after in _STANDS:
            open_[name] = stretch
        else:
            hidden = change.after in _HIDDEN
            closed.append(replace(stretch, to_s=change.at_s, hidden=hidden))
    for state in held:
        name = (state.key, state.subject)
        if state.phase in _STANDS and state.raised_at_s is not None:
            known = open_.get(name)
            if known is None or known.from_s <= from_s:
                seen_s = None if known is None else known.seen_s
                open_[name] = Stretch(*name, from_s=state.raised_at_s, seen_s=seen_s)
    return tuple(sorted((*closed, *open_.values()), key=lambda one: (one.from_s, one.key)))


def _raises(change: AlarmChange) -> bool:
    return change.after == "unacknowledged" and change.before != "unacknowledged"


def _split(changes: Iterable[AlarmChange]) -> Mapping[Priority, int]:
    counts = Counter(change.priority for change in changes)
    return {priority: counts[priority] for priority in PRIORITIES}


def _chattering(raised: Sequence[AlarmChange]) -> tuple[tuple[str, str], ...]:
    times: dict[tuple[str, str], list[float]] = {}
    for change in raised:
        times.setdefault((change.key, change.subject), []).append(change.at_s)
    nth = CHATTER_TIMES - 1
    return tuple(
        sorted(
            name
            for name, at_s in times.items()
            if any(b - a <= CHATTER_S for a, b in zip(at_s, at_s[nth:], strict=False))
        )
    )


def _frequent(
    raised: Sequence[AlarmChange], lived: Sequence[Stretch], to_s: float
) -> tuple[Frequent, ...]:
    """By alarm, most often first."""
    longest: dict[str, float] = {}
    for one in lived:
        longest[one.key] = max(longest.get(one.key, 0.0), one.length_s(to_s))
    counts = Counter(change.key for change in raised)
    ordered = sorted(counts.items(), key=lambda item: (-item[1], item[0]))
    return tuple(Frequent(key, times, longest.get(key, 0.0)) for key, times in ordered)
