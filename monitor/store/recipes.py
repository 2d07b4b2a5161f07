"""The maker's own recipes. A plan keeps its own copy, so a changed recipe alters no plan."""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass

from monitor.core.cure.recipe import Recipe
from monitor.store.errors import NotThere
from monitor.store.moments import ms, seconds
from monitor.store.packing import pack, unpack


@dataclass(frozen=True)
class KeptRecipe:
    """One recipe with its number."""

    id: int
    recipe: Recipe
    saved_at_s: float


def recipes(con: sqlite3.Connection) -> list[KeptRecipe]:
    """Every recipe, by name."""
    rows = con.execute("SELECT id, recipe, saved_ms FROM recipes ORDER BY name COLLATE NOCASE, id")
    return [KeptRecipe(id_, unpack(text, Recipe), seconds(at)) for id_, text, at in rows]


def recipe(con: sqlite3.Connection, id_: int) -> KeptRecipe | None:
    """One recipe, or None."""
    row = con.execute("SELECT id, recipe, saved_ms FROM recipes WHERE id = ?", (id_,)).fetchone()
    return None if row is None else KeptRecipe(row[0], unpack(row[1], Recipe), seconds(row[2]))


def add_recipe(con: sqlite3.Connection, recipe_: Recipe, at_s: float) -> int:
    """Keep a new recipe; returns its number."""
    cursor = con.execute(
        "INSERT INTO recipes (name, recipe, saved_ms) VALUES (?, ?, ?)",
        (recipe_.name, pack(recipe_), ms(at_s)),
    )
    return int(cursor.lastrowid or 0)


def change_recipe(con: sqlite3.Connection, id_: int, recipe_: Recipe, at_s: float) -> None:
    """Put a recipe in the place of an earlier one."""
    cursor = con.execute(
        "UPDATE recipes SET name = ?, recipe = ?, saved_ms = ? WHERE id = ?",
        (recipe_.name, pack(recipe_), ms(at_s), id_),
    )
    if cursor.rowcount == 0:
        raise NotThere(f"there is no recipe {id_}; it may have been deleted. Save it as a copy")


def delete_recipe(con: sqlite3.Connection, id_: int) -> None:
    """Remove a recipe; plans made from it stay."""
    con.execute("DELETE FROM recipes WHERE id = ?", (id_,))
