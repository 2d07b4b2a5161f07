"""The API keeps what /openapi.json says of it, also when it is sent nonsense."""

from __future__ import annotations

from contextlib import closing

import pytest
import schemathesis
from hypothesis import HealthCheck, Phase, given, settings
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_schema_conformance,
    status_code_conformance,
)

from dashboard.app import create_app
from dashboard.openapi import document
from dashboard.options import Options
from monitor import assembly, shelf
from monitor.answers import planning
from monitor.store import bottles, connection, intake_rows, pieces, resins
from monitor.store.connection import writing
from monitor.store.intake_rows import Arrival
from monitor.watch import Watch, Works

T0 = 1_790_000_000.0
NOW = T0 + 3 * 3600.0
KEY = "home/bench/air"

CHECKS = [
    not_a_server_error,
    status_code_conformance,
    content_type_conformance,
    response_schema_conformance,
]
OPERATIONS = [
    f"{method} {path}"
    for path, methods in document()["paths"].items()
    for method in methods
    if method != "parameters"
]


@pytest.fixture(scope="module")
def described(tmp_path_factory):
    """The description as served, over a store with a room and one layer in it."""
    path = tmp_path_factory.mktemp("described") / "pourside.db"
    with closing(connection.open_owner(path)) as con:
        rows = [Arrival(KEY, NOW - 300.0 * n, 21.0, 48.0) for n in range(100)]
        with writing(con):
            for profile in shelf.library():
                resins.save_resin(con, profile, T0, origin="library")
            intake_rows.commit(con, "home", "bench", rows, (), {}, NOW)
            piece = pieces.add_piece(con, "Panel", T0)
            coating = resins.resin(con, "coating_2_1")
            assert coating is not None
            pieces.add_layer(con, piece, "Flood", coating, T0, T0, depth_mm=3.0, area_cm2=500.0)
            for part in ("A", "B"):
                bottles.add_bottle(con, "coating_2_1", part, 500.0, opened_at_s=T0)
            recipe = planning.recipe_named(con, "example:coaster_set")
            terms = planning.Terms(planning.Wishes(probability=0.6))
            plan = planning.make(con, recipe, terms, NOW, lambda at_s: 0.0)
            planning.accept(con, piece, recipe, terms, plan)
        Watch().think(con, NOW, Works())
    app = create_app(Options(path, lambda: NOW, **assembly.page_parts()))
    return schemathesis.openapi.from_wsgi("/openapi.json", app)


@pytest.mark.parametrize("operation", OPERATIONS)
def test_every_operation_answers_as_described(described, operation):
    method, path = operation.split(" ", 1)

    # Twelve made-up requests each, the same ones every time: enough to reach every branch
    # of the checks of the fields, and few enough for a slow board.
    @given(case=described[path][method].as_strategy())
    @settings(
        max_examples=12,
        deadline=None,
        derandomize=True,
        database=None,
        phases=(Phase.explicit, Phase.generate),
        suppress_health_check=list(HealthCheck),
    )
    def answers(case):
        # Source of the checks: OpenAPI 3.1 and the description that the program serves.
        case.call_and_validate(checks=CHECKS)

    answers()


def test_plans_and_bottles_are_told_as_the_pages_have_them(described):
    client = described.app.test_client()

    (plan,) = client.get("/api/v1/plans").get_json()
    shelved = client.get("/api/v1/bottles").get_json()

    assert plan["recipe"]["name"] == "Set of four coasters"
    assert plan["terms"]["wishes"]["probability"] == 0.6
    assert [act["what"] for act in plan["plan"]["acts"]].count("pour") >= 2
    assert "⟦" not in str(plan)  # moments in words are worded
    assert [(one["part"], one["left_ml"], one["old"]) for one in shelved] == [
        ("A", 500.0, False),
        ("B", 500.0, False),
    ]


def test_lists_within_lists_without_end_are_no_body(described):
    answer = described.app.test_client().post("/api/v1/pieces", data="[" * 50_000 + "]" * 50_000)
    assert answer.status_code == 400


HALF = '"\\ud800"'  # JSON can write half a character; no text of the store can hold one


@pytest.mark.parametrize(
    ("path", "field"),
    [
        ("/api/v1/pieces", "name"),
        ("/api/v1/pieces", "note"),
        ("/api/v1/pieces/1/layers", "name"),
        ("/api/v1/pieces/1/layers", "resin"),
        ("/api/v1/layers/1/marks", "note"),
        ("/api/v1/preview", "resin"),
        ("/api/v1/resins", "name"),
    ],
)
def test_half_a_character_is_a_problem_told_and_nothing_is_stored(described, path, field):
    client = described.app.test_client()
    fields = {"name": '"A"', "resin": '"coating_2_1"', "kind": '"note"', field: HALF}
    before = client.get("/api/v1/pieces").get_json()

    body = "{" + ", ".join(f'"{key}": {value}' for key, value in fields.items()) + "}"
    answer = client.post(path, data=body)

    assert (answer.status_code, answer.mimetype) == (400, "application/problem+json")
    assert "half a character" in answer.get_json()["detail"]
    assert client.get("/api/v1/pieces").get_json() == before


def test_both_halves_of_a_character_are_one(described):
    client = described.app.test_client()
    answer = client.post("/api/v1/pieces", data='{"name": "Boat \\ud83d\\ude00"}')
    assert (answer.status_code, answer.get_json()["name"]) == (201, "Boat \U0001f600")


def test_an_act_on_a_row_that_is_gone_is_not_found(described):
    answer = described.app.test_client().post("/layers/99999/reopen")
    assert answer.status_code == 404
    assert "there is no layer 99999" in answer.get_data(as_text=True)
