"""Recipes, resins and rooms for the tests of the planner."""

import tomllib
from pathlib import Path

import numpy as np

from monitor.core.cure.planner import Wishes, plan
from monitor.core.cure.recipe import Moment, Recipe, Step, from_dict
from monitor.core.cure.resin import from_mapping
from monitor.core.vocabulary import RateDraws, RoomPaths

DATA = Path(__file__).resolve().parents[1] / "monitor" / "data"


HOUR_S, DAY_S = 3600.0, 86_400.0


MONDAY_S = 1_759_708_800.0  # Monday 6 October 2025, midnight UTC


EIGHT_S = MONDAY_S + 8 * HOUR_S


PATHS = 40


def tables(name):
    with (DATA / name).open("rb") as file:
        return {key: {"key": key, **table} for key, table in tomllib.load(file).items()}


RESINS = {key: from_mapping(table) for key, table in tables("resins.toml").items()}


RECIPES = {key: from_dict(table) for key, table in tables("recipes.toml").items()}


def room(temp_c, now_s=EIGHT_S, swing_k=0.0, spread_k=0.3):
    """Three days of paths, warmest at four in the afternoon."""
    at_s = now_s + 600.0 * np.arange(433.0)
    daily = swing_k * np.sin(2.0 * np.pi * ((at_s / HOUR_S) % 24.0 - 10.0) / 24.0)
    offsets = np.linspace(-spread_k, spread_k, PATHS)[:, None]
    return RoomPaths(at_s, temp_c + daily + offsets, np.full((PATHS, at_s.size), 50.0))


def speeds(sd=0.08):
    """A well-known resin: its speed within about eight per cent."""
    places = (np.arange(PATHS) * 17 % PATHS + 0.5) / PATHS
    rates = sd * np.sqrt(12.0) * (places - 0.5)
    return {key: RateDraws(rates, np.full(PATHS, p.ea_j_mol), 5) for key, p in RESINS.items()}


def planned(recipe, wishes=None, now_s=EIGHT_S, temp_c=21.0, draws=None, **rest):
    future = room(temp_c, now_s, rest.pop("swing_k", 0.0))
    rest.setdefault("otherwise", False)
    wishes = Wishes() if wishes is None else wishes
    return plan(recipe, RESINS, future, draws or speeds(), wishes, now_s, **rest)


PULL = (Moment("pull_tape"),)


def flood(*, moments=PULL, second=None):
    steps = [Step("coat", "flood_coat", "Coat", "coating_2_1", moments=moments)]
    if second is not None:
        steps.append(Step("second", "flood_coat", "Second", "coating_2_1", second))
    return Recipe("r", "Coats", tuple(steps))


def local_hour(at_s, offset_s=0.0):
    return ((at_s + offset_s) % DAY_S) / HOUR_S
