"""A plan in words: its steps in order, when, how sure, why, and what to do about it."""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from urllib.parse import urlencode

from dashboard import wish_form, wording
from dashboard.recipes import STEP_NAMES
from dashboard.wording import Local
from monitor.answers import planning
from monitor.answers.planning import Alternative, Done, Plan, PlannedAct, Recipe, Step
from monitor.core.vocabulary import Layer, Piece
from monitor.store import readings, resins
from monitor.store.plans import KeptPlan, Terms

# What a tap ticks off; a pour is ticked by its layer.
TICKED = ("work", "pull_tape", "demould")
Against = Mapping[str, Sequence[str]]
_NOTHING: Against = {}
VERBS = {"painted_lines": "Paint it", "adhesive_dam": "Glue it"}


@dataclass(frozen=True)
class Row:
    """One act of the plan, done or to come. Addresses are empty where there is nothing to do."""

    title: str
    detail: str
    done: bool
    next: bool
    when: str
    good: str
    chance: str
    unsure: bool
    room: str
    whys: tuple[str, ...]
    pour_url: str
    tick: tuple[str, str] | None
    undo: tuple[str, str] | None
    tape_layer: int | None
    adopt: tuple[tuple[int, str], ...] = ()  # layers that may be this step already
    key: str = ""
    warning: str = ""
    due: bool = False
    verb: str = "Pour it"
    room_fit: str = ""
    against: tuple[str, ...] = ()  # what of the pour's depth or surface the plan did not weigh


@dataclass(frozen=True)
class Offer:
    """Something that would be better, or the wish that stands in the way."""

    words: str
    url: str


@dataclass(frozen=True)
class PlanView:
    """A whole plan, worded."""

    found: bool
    rows: tuple[Row, ...]
    finish: str
    finish_band: str
    reasons: tuple[str, ...]
    offers: tuple[Offer, ...]
    help: Offer | None
    notes: tuple[str, ...]
    made: str
    over: bool
    cured: bool
    sure: str
    unlearnt: bool  # marks would make the next plan surer
    less: str  # the lesser certainty of this plan, where none is as sure as wished
    unmeasured: bool  # no sensor was ever heard: the room is a guess


def whole(
    con: sqlite3.Connection,
    kept: KeptPlan,
    piece: Piece,
    here: Local,
    against: Against = _NOTHING,
) -> PlanView:
    """The accepted plan of a piece, with what is done of it and what speaks `against` a pour."""
    done = planning.done_of(con, kept.recipe, piece, kept.terms)
    fields = kept_fields(kept, piece, here)
    return _view(con, kept.recipe, kept.plan, done, piece, kept.terms, here, fields, against)


def kept_fields(kept: KeptPlan, piece: Piece, here: Local) -> dict[str, str]:
    """The fields that ask for this very plan again."""
    fields = {"piece": str(piece.id), "recipe": "kept"}
    return fields | wish_form.fields_of(kept.terms.wishes, here)


def asked(
    con: sqlite3.Connection,
    recipe: Recipe,
    made: Plan,
    piece: Piece | None,
    kept: KeptPlan | None,
    here: Local,
    fields: Mapping[str, str],
    against: Against = _NOTHING,
) -> PlanView:
    """A plan that is not accepted yet, asked for with these fields."""
    terms = kept.terms if kept is not None and kept.recipe == recipe else Terms(planning.Wishes())
    done = () if piece is None else planning.done_of(con, recipe, piece, terms)
    return _view(con, recipe, made, done, None, terms, here, fields, against)


def next_act(con: sqlite3.Connection, kept: KeptPlan, piece: Piece, here: Local) -> Row | None:
    """What the plan wants next of the hands, tape aside: the layer itself asks for that."""
    view = whole(con, kept, piece, here)
    return next((row for row in view.rows if row.next and row.tape_layer is None), None)


def _view(
    con: sqlite3.Connection,
    recipe: Recipe,
    made: Plan,
    done: Sequence[Done],
    piece: Piece | None,
    terms: Terms,
    here: Local,
    fields: Mapping[str, str],
    against: Against,
) -> PlanView:
    names = {one.key: one.name for one in resins.resins(con)}
    steps = {step.key: step for step in recipe.steps}
    finished = {one.step: one for one in done}
    ticked = {(one.step, one.what) for one in terms.done}
    rows = [
        _done_row(one, steps[one.step], names, ticked, here) for one in done if one.step in steps
    ]
    pending = [act for act in made.acts if not _carried_out(act, finished)]
    rows += [
        _act_row(act, recipe, names, piece, here, n == 0, against) for n, act in enumerate(pending)
    ]
    if not made.acts:
        left = [step for step in recipe.steps if step.key not in finished]
        rows += [
            _bare_row(step, recipe, names, piece, here, first=n == 0) for n, step in enumerate(left)
        ]
    less = made.content_with
    sure = wish_form.sure_words(fields.get("sure", "0.8") if less is None else f"{less:g}")
    # The core puts what helps most first; a plan that is there needs no help.
    others = made.alternatives
    help_, others = (None, others) if made.found or not others else (others[0], others[1:])
    return PlanView(
        found=made.found,
        rows=tuple(rows),
        finish="" if made.finish_s is None else _day(made.finish_s, here),
        finish_band=_odds(made, sure, here),
        reasons=tuple(_said(one.words, here) for one in made.reasons),
        offers=tuple(_offer(one, fields, here) for one in others),
        help=None if help_ is None else _offer(help_, fields, here),
        notes=tuple(here.spoken(note) for note in made.notes),
        made=here.clock(made.made_at_s),
        over=not pending and bool(made.acts or len(finished) == len(steps)),
        sure=wish_form.sure_words(fields.get("sure", "0.8")),
        unlearnt=any(one.key == "uncertain" for one in made.reasons),
        less="" if less is None else wish_form.sure_words(f"{less:g}"),
        cured=made.finish_s is not None and made.finish_s <= made.made_at_s,
        unmeasured=all(one.last_at_s is None for one in readings.sensors(con)),
    )


def _odds(made: Plan, sure: str, here: Local) -> str:
    """How sure the finish is, and the moment by which it is as likely done as not."""
    middle_s, finish_s = made.finish.p50_s, made.finish_s
    if middle_s is None or finish_s is None or middle_s > finish_s - 600.0:
        return ""
    return f"That is {sure} sure; the odds are even for {_day(middle_s, here)}"


def act_title(act: PlannedAct, recipe: Recipe) -> str:
    """What an act is called, on the page and in a calendar."""
    step = next((one for one in recipe.steps if one.key == act.step), None)
    return act.name if step is None else _title(act.what, step)


def _offer(one: Alternative, fields: Mapping[str, str], here: Local) -> Offer:
    left = wish_form.without(fields, one.wish, one.probability) if one.wish else {}
    return Offer(_said(one.words, here), "/plan/new?" + urlencode(left) if left else "")


def _carried_out(act: PlannedAct, finished: dict[str, Done]) -> bool:
    """Done since the plan was last made."""
    done = finished.get(act.step)
    if done is None:
        return False
    return act.what in ("pour", "work") or act.what in done.moments


def _title(what: str, step: Step) -> str:
    if what == "pull_tape":
        return f"Pull the tape: {step.name}"
    if what == "demould":
        return f"Out of the mould: {step.name}"
    return step.name


def _detail(what: str, step: Step, names: dict[str, str]) -> str:
    if what in ("pull_tape", "demould"):
        return ""
    made_of = names.get(step.resin, step.resin) if step.resin else ""
    kind = STEP_NAMES[step.kind]
    kind = "" if kind == step.name.lower() else kind
    return ", ".join(word for word in (kind, made_of) if word)


def _done_row(
    done: Done,
    step: Step,
    names: dict[str, str],
    ticked: set[tuple[str, str]],
    here: Local,
) -> Row:
    undo = (step.key, "work") if (step.key, "work") in ticked else None
    return Row(
        _title("work", step), _detail("work", step, names), True, False,
        _day(done.at_s, here), "", "", False, "", (), "", None, undo, None,
    )  # fmt: skip


def _act_row(
    act: PlannedAct,
    recipe: Recipe,
    names: dict[str, str],
    piece: Piece | None,
    here: Local,
    first: bool,
    against: Against,
) -> Row:
    step = next(one for one in recipe.steps if one.key == act.step)
    early, late = act.good_from_s, act.good_until_s
    good = ""
    if late - early >= 600:
        good = f"any time until {_beside(late, act.at_s, here)}"
        if early > here.now_s:
            from_words = _beside(early, act.at_s, here)
            good = f"any time from {from_words} to {_beside(late, early, here)}"
    due = first and early <= here.now_s <= max(late, act.until_s)
    tape = _tape_layer(recipe, step, piece) if act.what == "pull_tape" else None
    return Row(
        title=_title(act.what, step),
        detail=_detail(act.what, step, names),
        done=False,
        next=first,
        when="now" if due else _day(act.at_s, here),
        good=good,
        chance="" if act.window is None else f"{act.chance:.0%}",
        unsure=act.window is not None and act.chance < 0.5,
        room=here.units.temperature(act.room_c, 0),
        whys=(*_window(act, recipe, here), *(_said(one.words, here) for one in act.reasons)),
        pour_url=_pour_url(recipe, step, piece, here) if first and act.what == "pour" else "",
        tick=(step.key, act.what) if first and act.what in TICKED and tape is None else None,
        undo=None,
        tape_layer=tape if first else None,
        adopt=_adoptable(step, piece) if first and act.what == "pour" else (),
        key=step.key,
        due=due,
        verb=VERBS.get(step.kind, "Pour it"),
        warning=_said(act.warning, here),
        room_fit="" if act.room_chance is None else f"{act.room_chance:.0%}",
        against=tuple(here.spoken(words) for words in against.get(act.step, ()))
        if act.what == "pour"
        else (),
    )


def _said(words: str, here: Local) -> str:
    """The core's words with its moments in local time and the reader's units."""
    return here.units.spoken(here.spoken(words))


def _window(act: PlannedAct, recipe: Recipe, here: Local) -> tuple[str, ...]:
    """The window to meet, as a sentence."""
    window = act.window
    if window is None:
        return ()
    layer = next((one.name for one in recipe.steps if one.key == window.of_step), window.of_step)
    stage = wording.STAGE_NAMES.get(window.opens_with, window.opens_with).lower()
    opens = window.opens
    words = f"{layer}: {stage} about {_day(opens.p50_s, here)}"
    if opens.p10_s is not None:
        words += f", likely between {_day(opens.p10_s, here)} and {_day(opens.p90_s, here)}"
    if window.closes is not None:
        words += f"; too late from about {_day(window.closes.p50_s, here)}"
    return (words + ".",)


def _day(at_s: float | None, here: Local) -> str:
    """'14:10', 'tomorrow 14:10', 'Sat 14:10', and with the date where a week is too far."""
    words = here.clock(at_s)
    if at_s is None or not words[:1].isdigit() or " " not in words:
        return words
    return f"{here.worded(at_s, '%a')} {words}"


def _beside(at_s: float, other_s: float, here: Local) -> str:
    """A moment named beside another: the day only where it differs."""
    same = here.at(at_s).date() == here.at(other_s).date()
    return here.at(at_s).strftime("%H:%M") if same else _day(at_s, here)


def _bare_row(
    step: Step,
    recipe: Recipe,
    names: dict[str, str],
    piece: Piece | None,
    here: Local,
    first: bool,
) -> Row:
    """A step without a time, where no plan exists: the work goes on all the same."""
    pour = step.resin is not None
    return Row(
        _title("work", step), _detail("work", step, names), False, first, "", "", "", False, "",
        (), _pour_url(recipe, step, piece, here) if first and pour else "",
        (step.key, "work") if first and not pour else None, None, None,
        _adoptable(step, piece) if first and pour else (), step.key, "", False,
        VERBS.get(step.kind, "Pour it"),
    )  # fmt: skip


def _adoptable(step: Step, piece: Piece | None) -> tuple[tuple[int, str], ...]:
    """Layers of this resin that were started without the plan."""
    if piece is None:
        return ()
    return tuple(
        (layer.id, layer.name)
        for layer in piece.layers
        if layer.step is None and layer.resin.key == step.resin
    )


def _tape_layer(recipe: Recipe, step: Step, piece: Piece | None) -> int | None:
    if piece is None:
        return None
    place = recipe.steps.index(step)
    layers: list[Layer] = [layer for layer in piece.layers if layer.step == place]
    return layers[-1].id if layers else None


def _pour_url(recipe: Recipe, step: Step, piece: Piece | None, here: Local) -> str:
    """The pour page with this step filled in, in the units a person types."""
    if piece is None:
        return ""
    typed = {
        "resin": step.resin or "",
        "piece": str(piece.id),
        "step": str(recipe.steps.index(step)),
        "layer": step.name,
    }
    sizes = (("area_cm2", "cm²"), ("depth_mm", "mm"), ("volume_ml", "ml"))
    for key, unit in sizes:
        value = getattr(step, key)
        if value is not None:
            typed[key] = here.units.field(value, unit)
    return "/pour?" + urlencode(typed)
