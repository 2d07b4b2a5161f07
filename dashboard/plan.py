"""The plan of a piece: asked for, accepted, followed step by step."""

from __future__ import annotations

import re
from collections.abc import Callable
from urllib.parse import urlencode

from flask import Blueprint, abort, redirect, render_template, request
from werkzeug.wrappers import Response

from dashboard import plan_views, wish_form
from dashboard.db import acting, now_s, reader
from dashboard.forms import Form, whole
from dashboard.going import refused
from dashboard.views import local
from dashboard.wording import Local
from monitor.answers import plan_verdicts, planning
from monitor.answers.planning import Plan, Recipe, Terms
from monitor.core.vocabulary import Piece
from monitor.store import pieces, plans
from monitor.store.plans import KeptPlan

plan = Blueprint("plan", __name__)


@plan.get("/plan")
def hub() -> str:
    """Where whole pieces are planned: what is planned now, and the ways in."""
    con, here = reader(), local()
    shown = []
    for kept in plans.plans(con):
        piece = pieces.piece(con, kept.piece_id)
        if piece is not None:
            shown.append({"piece": piece, "view": plan_views.whole(con, kept, piece, here)})
    return render_template("plan_hub.html", shown=shown)


@plan.get("/plan/new")
def ask() -> str | tuple[str, int]:
    """Choose a recipe and wishes, see the plan they make."""
    con, here = reader(), local()
    form = Form(request.args, here.units)
    piece = _wanted_piece(form)
    kept = None if piece is None else plans.plan(con, piece.id)
    ref = request.args.get("recipe", "kept" if kept else "")
    recipe = kept.recipe if kept and ref == "kept" else planning.recipe_named(con, ref)
    asked = "sure" in request.args
    typed = dict(request.args) if asked else _usual_fields(kept, here)
    made: Plan | None = None
    if recipe is not None and asked:
        made = _made(form, here, recipe, kept, piece)
    view = None
    if made is not None and recipe is not None:
        against = plan_verdicts.against(con, recipe, made, here.now_s)
        view = plan_views.asked(con, recipe, made, piece, kept, here, typed, against)
    return render_template(
        "plan_new.html",
        own=[(str(one.id), one.recipe.name) for one in planning.own_recipes(con)],
        examples=[(f"example:{one.key}", one.name) for one in planning.examples()],
        ref=ref,
        kept=kept,
        recipe=recipe,
        piece=piece,
        open_pieces=pieces.pieces(con, ended=False),
        typed=typed,
        form=wish_form,
        days_off=[*sorted(set(wish_form.days_off(typed))), *[""] * wish_form.SPARE_DATES],
        sure=_sure_choices(typed.get("sure", "0.8")),
        faults=form.faults,
        view=view,
        least_deadline=here.field(here.now_s),
    )


@plan.post("/plan/new")
def accept() -> Response | tuple[str, int]:
    """Keep the plan, for an open piece or a new one."""
    con, here = reader(), local()
    form = Form(request.form, here.units)
    piece = _wanted_piece(form)
    kept = None if piece is None else plans.plan(con, piece.id)
    ref = request.form.get("recipe", "")
    recipe = kept.recipe if kept and ref == "kept" else planning.recipe_named(con, ref)
    if recipe is None:
        return refused(["The recipe is not there any more; choose another"])
    made = _made(form, here, recipe, kept, piece)
    name = form.text("name", "The piece's name", 80)
    if form.faults or made is None:
        return refused(form.faults)
    if not made.found:
        return refused(["No plan works with these aims any more; go back and change one"])
    terms = _terms(wish_form.wishes_of(form, here), recipe, kept)
    with acting() as write:
        number = piece.id if piece else pieces.add_piece(write, name or recipe.name, here.now_s)
        planning.accept(write, number, recipe, terms, made)
    return redirect(f"/pieces/{number}/plan")


@plan.get("/pieces/<int:number>/plan")
def follow(number: int) -> str:
    """The plan as it stands."""
    con, here = reader(), local()
    piece, kept = _planned(number)
    against = plan_verdicts.against(con, kept.recipe, kept.plan, here.now_s)
    return render_template(
        "plan.html",
        piece=piece,
        kept=kept,
        view=plan_views.whole(con, kept, piece, here, against),
        wishes=wish_form.said(kept.terms.wishes, here),
        again="/plan/new?" + urlencode(plan_views.kept_fields(kept, piece, here)),
    )


@plan.post("/pieces/<int:number>/plan/<act>")
def plan_act(number: int, act: str) -> Response | tuple[str, int]:
    """Tick work off, take the tick back, or go on without a plan."""
    piece, kept = _planned(number)
    step, what = request.form.get("step", ""), request.form.get("what", "work")
    places = {one.key: place for place, one in enumerate(kept.recipe.steps)}
    known = step in places and what in plan_views.TICKED
    if act in ("done", "undo") and not known:
        return refused([f"The plan has no step {step!r} that could be ticked; reload the page"])
    typed = request.form.get("layer", "")
    layer = whole(typed)
    if act == "adopt" and layer not in {one.id for one in piece.layers}:
        return refused([f"The piece has no layer {typed[:20]!r}; reload the page"])
    with acting() as con:
        if act == "done":
            plans.note_done(con, number, step, what, now_s())
        elif act == "undo":
            plans.undo_done(con, number, step, what)
        elif act == "adopt" and step in places:
            plans.adopt(con, number, layer or 0, places[step])
        elif act == "give-up":
            plans.give_up(con, number)
        else:
            abort(404, f"{act!r} is not something a plan can do.")
    if act == "give-up":
        return redirect(f"/pieces/{number}")
    again = "/" if request.form.get("back") == "/" else f"/pieces/{number}/plan"
    return redirect(again)


@plan.app_context_processor
def for_templates() -> dict[str, object]:
    """Lets the bench say what the plans want next."""
    return {"planned_next": planned_next, "plan_of": lambda number: plans.plan(reader(), number)}


def planned_next() -> list[tuple[Piece, plan_views.Row | None]]:
    """The next act of each plan, None where a plan does not work out."""
    con, here = reader(), local()
    found: list[tuple[Piece, plan_views.Row | None]] = []
    for kept in plans.plans(con):
        piece = pieces.piece(con, kept.piece_id)
        if piece is None:
            continue
        row = plan_views.next_act(con, kept, piece, here)
        if row is not None or not kept.plan.found:
            found.append((piece, row if kept.plan.found else None))
    return found


def _made(
    form: Form, here: Local, recipe: Recipe, kept: KeptPlan | None, piece: Piece | None
) -> Plan | None:
    wanted = wish_form.wishes_of(form, here)
    if not form.faults:
        form.faults += [
            fault[0].upper() + fault[1:] for fault in planning.wish_faults(wanted, here.now_s)
        ]
        form.faults += planning.faults_of(reader(), recipe)
    if form.faults:
        return None
    terms = _terms(wanted, recipe, kept)
    try:
        return planning.make(reader(), recipe, terms, here.now_s, offset_of(here), piece)
    except ValueError as error:
        form.faults.append(str(error))
        return None


def _terms(wanted: planning.Wishes, recipe: Recipe, kept: KeptPlan | None) -> Terms:
    """Work ticked off stays ticked off while the recipe is the same."""
    same = kept is not None and kept.recipe == recipe
    return Terms(wanted, kept.terms.done if kept is not None and same else ())


def offset_of(here: Local) -> Callable[[float], float]:
    """Seconds that local time is ahead of UTC, by the zone's own rules."""

    def ahead_s(at_s: float) -> float:
        offset = here.at(at_s).utcoffset()
        return 0.0 if offset is None else offset.total_seconds()

    return ahead_s


def _usual_fields(kept: KeptPlan | None, here: Local) -> dict[str, str]:
    wanted = kept.terms.wishes if kept else planning.kept_wishes(reader())
    return wish_form.fields_of(wanted or planning.Wishes(), here)


def _sure_choices(typed: str) -> dict[str, str]:
    """The list's own chances, and the one that was asked for, where it is another."""
    known = dict(wish_form.SURE)
    if typed not in known and re.fullmatch(r"0\.\d{1,3}", typed):
        known[typed] = wish_form.sure_words(typed)
    return dict(sorted(known.items()))


def _wanted_piece(form: Form) -> Piece | None:
    typed = form.values.get("piece", "")
    number = whole(typed)
    found = None if number is None else pieces.piece(reader(), number)
    if typed and (found is None or found.ended_at_s is not None):
        form.faults.append("That piece is not on the bench any more; choose another or a new one")
        return None
    return found


def _planned(number: int) -> tuple[Piece, KeptPlan]:
    piece, kept = pieces.piece(reader(), number), plans.plan(reader(), number)
    if piece is None:
        abort(404, f"There is no piece {number}. It may have been deleted.")
    if kept is None:
        abort(404, f"{piece.name} has no plan. Make one from the page Plan.")
    return piece, kept
