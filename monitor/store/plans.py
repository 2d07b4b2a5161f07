"""The plan of a piece: recipe, wishes, what was done by hand, and the acts as last planned."""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass, replace

from monitor.core.cure.plan_values import Plan
from monitor.core.cure.recipe import Recipe
from monitor.core.cure.wishes import Wishes
from monitor.store.errors import StoreError
from monitor.store.moments import ms, seconds
from monitor.store.packing import pack, unpack


@dataclass(frozen=True)
class WorkDone:
    """Hands-on work that no layer or mark tells of: sanding, laying tape, demoulding."""

    step: str
    what: str
    at_s: float


@dataclass(frozen=True)
class Terms:
    """What the plan has to respect: the wishes, and the work that is done already."""

    wishes: Wishes
    done: tuple[WorkDone, ...] = ()


@dataclass(frozen=True)
class KeptPlan:
    """A piece's plan as it stands."""

    piece_id: int
    recipe: Recipe
    terms: Terms
    plan: Plan
    made_at_s: float


_ROW = "SELECT piece_id, recipe, wishes, plan, made_ms FROM plans "


def plan(con: sqlite3.Connection, piece_id: int) -> KeptPlan | None:
    """The plan of one piece, or None."""
    row = con.execute(_ROW + "WHERE piece_id = ?", (piece_id,)).fetchone()
    return None if row is None else _kept(row)


def plans(con: sqlite3.Connection) -> list[KeptPlan]:
    """The plans of the pieces on the bench, oldest piece first."""
    rows = con.execute(
        _ROW + "WHERE piece_id IN (SELECT id FROM pieces WHERE ended_ms IS NULL) ORDER BY piece_id"
    )
    return [_kept(row) for row in rows]


def save_plan(
    con: sqlite3.Connection, piece_id: int, recipe: Recipe, terms: Terms, made: Plan
) -> None:
    """Accept a plan for a piece, or replace the one it had."""
    con.execute(
        "INSERT INTO plans VALUES (?, ?, ?, ?, ?) ON CONFLICT (piece_id) DO UPDATE SET "
        "recipe = excluded.recipe, wishes = excluded.wishes, plan = excluded.plan, "
        "made_ms = excluded.made_ms",
        (piece_id, pack(recipe), pack(terms), pack(made), ms(made.made_at_s)),
    )


def replace_plan(con: sqlite3.Connection, piece_id: int, made: Plan) -> None:
    """The monitor's later plan. A plan that was given up meanwhile stays given up."""
    con.execute(
        "UPDATE plans SET plan = ?, made_ms = ? WHERE piece_id = ?",
        (pack(made), ms(made.made_at_s), piece_id),
    )


def note_done(con: sqlite3.Connection, piece_id: int, step: str, what: str, at_s: float) -> None:
    """Work of a step is done. Done twice, the later moment counts."""
    kept = _needed(con, piece_id)
    others = _without(kept.terms, step, what)
    _save_terms(con, piece_id, replace(kept.terms, done=(*others, WorkDone(step, what, at_s))))


def undo_done(con: sqlite3.Connection, piece_id: int, step: str, what: str) -> None:
    """The work was not done after all."""
    kept = _needed(con, piece_id)
    _save_terms(con, piece_id, replace(kept.terms, done=_without(kept.terms, step, what)))


def adopt(con: sqlite3.Connection, piece_id: int, layer_id: int, place: int) -> None:
    """A layer that was started without the plan is this step of it."""
    cursor = con.execute(
        "UPDATE layers SET step = ? WHERE id = ? AND piece_id = ?", (place, layer_id, piece_id)
    )
    if cursor.rowcount == 0:
        raise StoreError(f"piece {piece_id} has no layer {layer_id}; reload the page")


def give_up(con: sqlite3.Connection, piece_id: int) -> None:
    """The piece goes on without a plan."""
    con.execute("DELETE FROM plans WHERE piece_id = ?", (piece_id,))


def _without(terms: Terms, step: str, what: str) -> tuple[WorkDone, ...]:
    return tuple(one for one in terms.done if (one.step, one.what) != (step, what))


def _save_terms(con: sqlite3.Connection, piece_id: int, terms: Terms) -> None:
    con.execute("UPDATE plans SET wishes = ? WHERE piece_id = ?", (pack(terms), piece_id))


def _needed(con: sqlite3.Connection, piece_id: int) -> KeptPlan:
    kept = plan(con, piece_id)
    if kept is None:
        raise StoreError(f"piece {piece_id} has no plan; make one first")
    return kept


def _kept(row: tuple[int, str, str, str, int]) -> KeptPlan:
    piece_id, recipe, terms, made, made_ms = row
    return KeptPlan(
        piece_id, unpack(recipe, Recipe), unpack(terms, Terms), unpack(made, Plan), seconds(made_ms)
    )
