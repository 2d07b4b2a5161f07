"""Recipes and plans over the store: what the page shows and the monitor keeps up to date."""

from __future__ import annotations

import sqlite3
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from importlib.resources import files
from typing import Any, cast

import numpy as np

from monitor.answers import beliefs, rooms
from monitor.answers.preview import PATHS, kept_future
from monitor.core.cure import belief, planner, recipe, wishes
from monitor.core.cure.bands import Band
from monitor.core.cure.plan_values import Alternative as Alternative
from monitor.core.cure.plan_values import Done as Done
from monitor.core.cure.plan_values import Plan as Plan
from monitor.core.cure.plan_values import PlannedAct as PlannedAct
from monitor.core.cure.plan_values import Reason
from monitor.core.cure.recipe import Moment, MomentKind
from monitor.core.cure.recipe import Recipe as Recipe
from monitor.core.cure.recipe import Step as Step
from monitor.core.cure.wishes import Wishes as Wishes
from monitor.core.room import forecast
from monitor.core.vocabulary import Layer, Piece, ResinProfile, RoomPaths, RoomSeries
from monitor.store import marks, outlooks, pieces, plans, recipes, resins, settings
from monitor.store.connection import writing
from monitor.store.packing import pack, unpack
from monitor.store.plans import Terms as Terms

STEP_KINDS = recipe.STEP_KINDS
NEEDS = recipe.NEEDS
MADE_OF = recipe.MADE_OF
USUAL_HANDS_ON_MIN = recipe.USUAL_HANDS_ON_MIN
MOST_STEPS = recipe.MOST_STEPS
# A room moves slowly; a person's act is answered at the next tick all the same.
REPLAN_EVERY_S = 900.0
# What else could be done costs several plans more: looked for when it is news, then hourly.
OFFERS_EVERY_S = 3600.0
# A coin's toss is the least that passes for a plan without being asked for.
CONTENT_FROM = 0.5
_WISHES = "plan_wishes"


def examples() -> list[Recipe]:
    """The invented recipes that come with the program."""
    text = files("monitor").joinpath("data/recipes.toml").read_text(encoding="utf-8")
    tables = tomllib.loads(text)
    return [recipe.from_dict({"key": key, **table}) for key, table in tables.items()]


def recipe_named(con: sqlite3.Connection, ref: str) -> Recipe | None:
    """A recipe by its reference: 'example:<key>' or the number of an own one."""
    if ref.startswith("example:"):
        return next((one for one in examples() if one.key == ref.partition(":")[2]), None)
    # The likes of `²` are digits to Python; a longer number is none of the store's.
    number = ref.isascii() and ref.isdigit() and len(ref) <= 18
    kept = recipes.recipe(con, int(ref)) if number else None
    return None if kept is None else kept.recipe


def own_recipes(con: sqlite3.Connection) -> list[recipes.KeptRecipe]:
    """The maker's own recipes."""
    return recipes.recipes(con)


def copied(found: Recipe) -> Recipe:
    """A copy under a name that tells it from the other."""
    return replace(found, key=f"{found.key}_copy", name=f"{found.name}, copy"[:80])


def recipe_of(
    con: sqlite3.Connection, table: Mapping[str, object]
) -> tuple[Recipe | None, list[str]]:
    """A recipe from a form's plain values, or what is wrong with it, one sentence each."""
    steps = [
        Step(
            **{
                **step,
                "moments": tuple(Moment(**moment) for moment in step.get("moments", ())),
            }
        )
        for step in cast("list[dict[str, Any]]", table["steps"])
    ]
    found = Recipe(str(table["key"]), str(table["name"]), tuple(steps), str(table.get("note", "")))
    wrong = faults_of(con, found)
    return (None, wrong) if wrong else (found, [])


def faults_of(con: sqlite3.Connection, found: Recipe) -> list[str]:
    """What is wrong with a recipe against the shelf, one sentence each."""
    kinds = {profile.key: profile.kind for profile in resins.resins(con)}
    return list(recipe.faults(found, kinds))


def table_of(found: Recipe) -> dict[str, object]:
    """A recipe as plain values, for a form."""
    return recipe.to_dict(found)


def kept_wishes(con: sqlite3.Connection) -> Wishes | None:
    """The wishes of the last accepted plan: whose hands they are changes seldom."""
    text = settings.get(con, _WISHES, "")
    return replace(unpack(text, Wishes), deadline_s=None, mode="soonest") if text else None


def accept(
    con: sqlite3.Connection, piece_id: int, made_of: Recipe, terms: Terms, made: Plan
) -> None:
    """Keep a plan for a piece, and its wishes for the next one. Call within a transaction."""
    plans.save_plan(con, piece_id, made_of, terms, made)
    settings.put(con, _WISHES, pack(terms.wishes), made.made_at_s)


def wish_faults(wanted: Wishes, now_s: float) -> list[str]:
    """What is wrong with the wishes, one sentence each."""
    return list(wishes.faults(wanted, now_s))


def make(
    con: sqlite3.Connection,
    made_of: Recipe,
    terms: Terms,
    now_s: float,
    local_offset_s: Callable[[float], float],
    piece: Piece | None = None,
    *,
    otherwise: bool = True,
    even_with_a_plan: bool = True,
) -> Plan:
    """Plan what is left of a piece, by the room's last forecast and what each resin taught.

    `otherwise` says whether to look for alternatives, which costs a plan more;
    with `even_with_a_plan` False, only where there is no plan.
    Where no plan is as sure as wished, the surest there is stands in, if it is sure enough.

    Raises ValueError, in words, for a recipe or wishes that make no sense.
    """
    done = () if piece is None else done_of(con, made_of, piece, terms)
    profiles = _profiles(con, made_of)
    begin_s = min([one.at_s for one in done], default=now_s)
    past, future = _room(con, begin_s, now_s)
    draws = {
        key: belief.draws(beliefs.of_resin(con, profile, now_s), PATHS)
        for key, profile in profiles.items()
    }
    wanted = terms.wishes
    notes: tuple[str, ...] = ()
    if piece is not None and wanted.deadline_s is not None and wanted.deadline_s <= now_s:
        wanted = replace(wanted, deadline_s=None, mode="soonest")
        notes = ("The deadline has passed: planned without it.",)
    made = planner.plan(
        made_of, profiles, future, draws, wanted, now_s, local_offset_s,
        past=past, done=done, otherwise=otherwise, even_with_a_plan=even_with_a_plan,
        content_from=CONTENT_FROM,
    )  # fmt: skip
    return replace(made, notes=made.notes + notes)


@dataclass
class Keeper:
    """Keeps every stored plan true to the room and to what was done.

    Holds only what a restart would find out again: what each plan was last made from.
    """

    _made_from: dict[int, int] = field(default_factory=dict)
    _offered_s: dict[int, float] = field(default_factory=dict)

    def keep(
        self, con: sqlite3.Connection, now_s: float, local_offset_s: Callable[[float], float]
    ) -> int:
        """Plan anew what a person's act touched, the rest every quarter of an hour.

        Returns how many plans were made. Opens its own transactions.
        """
        made = 0
        for kept in plans.plans(con):
            piece = pieces.piece(con, kept.piece_id)
            if piece is None:
                continue
            source = _source(con, kept, piece)
            fresh = 0.0 <= now_s - kept.made_at_s < REPLAN_EVERY_S
            if fresh and self._made_from.get(kept.piece_id) == source:
                continue
            plan = self._plan(con, kept, piece, now_s, local_offset_s)
            with writing(con):
                plans.replace_plan(con, kept.piece_id, plan)
            self._made_from[kept.piece_id] = source
            made += 1
        return made

    def _plan(
        self,
        con: sqlite3.Connection,
        kept: plans.KeptPlan,
        piece: Piece,
        now_s: float,
        local_offset_s: Callable[[float], float],
    ) -> Plan:
        offered_s = self._offered_s.get(kept.piece_id)
        due = offered_s is None or not 0.0 <= now_s - offered_s < OFFERS_EVERY_S
        wanted = due or kept.plan.found
        try:
            plan = make(
                con, kept.recipe, kept.terms, now_s, local_offset_s, piece,
                otherwise=wanted, even_with_a_plan=False,
            )  # fmt: skip
        except ValueError as error:
            # A resin gone from the shelf, a size out of sense: told, not died of.
            nothing = Band(None, None, None)
            return Plan(False, now_s, (), None, nothing, (Reason("faulty", str(error)),))
        if plan.found:
            self._offered_s.pop(kept.piece_id, None)
        elif wanted:
            self._offered_s[kept.piece_id] = now_s
        else:
            old = kept.plan
            plan = replace(plan, alternatives=old.alternatives, give_up=old.give_up)
        return plan


def _source(con: sqlite3.Connection, kept: plans.KeptPlan, piece: Piece) -> int:
    """A number that moves with what a person did to this piece or its plan."""
    seen = [mark for layer in piece.layers for mark in marks.marks(con, layer.id)]
    poured = [(one.id, one.step, one.poured_at_s, one.depth_mm) for one in piece.layers]
    return hash((pack(kept.recipe), pack(kept.terms), tuple(poured), tuple(seen)))


def done_of(
    con: sqlite3.Connection, made_of: Recipe, piece: Piece, terms: Terms
) -> tuple[Done, ...]:
    """The steps that are done: those with a layer, those ticked, and all before the last one."""
    begun: dict[int, float] = {}
    layers = {layer.step: layer for layer in piece.layers if layer.step is not None}
    ticked = {(one.step, one.what): one.at_s for one in terms.done}
    for place, step in enumerate(made_of.steps):
        if place in layers:
            begun[place] = layers[place].poured_at_s
        elif (at_s := ticked.get((step.key, "work"))) is not None:
            begun[place] = at_s
    last = max(begun, default=-1)
    found = []
    for place, step in enumerate(made_of.steps[: last + 1]):
        # What came before a later step must have been done, ticked or not.
        at_s = begun.get(place, min(begun[later] for later in begun if later >= place))
        reached: dict[str, float] = {}
        if place in layers:
            outlook = outlooks.latest(con, layers[place].id)
            for stage in () if outlook is None else outlook.stages:
                if stage.reached_at_s is not None:
                    reached[stage.key] = stage.reached_at_s
        moments = _moments_done(con, made_of, place, layers, ticked, begun)
        found.append(Done(step.key, at_s, moments, reached))
    return tuple(found)


def _moments_of(made_of: Recipe, step: Step) -> list[MomentKind]:
    """Tape and mould of a step's layer, whichever step asked for them."""
    return [
        moment.kind
        for owner, one in enumerate(made_of.steps)
        for moment in one.moments
        if recipe.layer_of(made_of, owner) is step
    ]


def _moments_done(
    con: sqlite3.Connection,
    made_of: Recipe,
    place: int,
    layers: Mapping[int, Layer],
    ticked: Mapping[tuple[str, str], float],
    begun: Mapping[int, float],
) -> tuple[MomentKind, ...]:
    """Tape and mould of a step's layer: ticked, marked, or behind us with the next step."""
    step = made_of.steps[place]
    wanted = _moments_of(made_of, step)
    over = any(later > place for later in begun)
    seen = marks.marks(con, layers[place].id) if place in layers else []
    pulled = any(mark.kind == "tape_pulled" for mark in seen)
    return tuple(
        kind
        for kind in dict.fromkeys(wanted)
        if over or (step.key, kind) in ticked or (kind == "pull_tape" and pulled)
    )


def _profiles(con: sqlite3.Connection, made_of: Recipe) -> dict[str, ResinProfile]:
    found = {}
    for step in made_of.steps:
        if step.resin is not None and step.resin not in found:
            profile = resins.resin(con, step.resin)
            if profile is None:
                raise ValueError(
                    f"Resin {step.resin!r} of {step.name} is not on the shelf; add it or choose "
                    "another in the recipe."
                )
            found[step.resin] = profile
    return found


def _room(con: sqlite3.Connection, begin_s: float, now_s: float) -> tuple[RoomSeries, RoomPaths]:
    key = beliefs.first_sensor(con)
    if key is None:
        empty = np.empty(0)
        past = RoomSeries(empty, empty.copy(), empty.copy())
        return past, forecast.forecast(past, now_s, paths=PATHS)
    past = rooms.past(con, key, begin_s - 3600.0, now_s)
    return past, kept_future(con, key, now_s) or forecast.forecast(past, now_s, paths=PATHS)
