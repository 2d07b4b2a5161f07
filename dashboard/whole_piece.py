"""The pages of a whole piece: amounts, bottles, recipes, plans, and when it may be shipped."""

from __future__ import annotations

from flask import Flask

from dashboard.amounts import amounts
from dashboard.bottles import bottles
from dashboard.handling import handling
from dashboard.plan import plan
from dashboard.recipes import recipes


def whole_piece(app: Flask) -> None:
    """Put these pages into the application."""
    for blueprint in (amounts, bottles, recipes, plan, handling):
        app.register_blueprint(blueprint)
