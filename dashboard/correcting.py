"""Pieces and layers put right, ended, put away and deleted. What was entered before is kept."""

from __future__ import annotations

from typing import Any

from flask import Blueprint, abort, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from dashboard import wording
from dashboard.db import acting, now_s, reader
from dashboard.forms import Form
from dashboard.going import back, refused
from dashboard.mixing import mixed_ratio
from dashboard.views import local
from dashboard.wording import Local
from monitor.answers import measuring
from monitor.core.vocabulary import Layer, Piece
from monitor.store import bottles, marks, photos, pieces, readings, resins

correcting = Blueprint("correcting", __name__)

_SIZES = (
    ("depth_mm", "Depth", 0.05, 500, "mm"),
    ("area_cm2", "Area", 0.1, 1e6, "cm²"),
    ("volume_ml", "Volume", 0.1, 1e6, "ml"),
    ("pour_temp_c", "Temperature of the parts", 5, 60, "°C"),
)


@correcting.post("/layers/<int:number>/end")
def end_layer(number: int) -> Response:
    """The layer is done."""
    with acting() as con:
        pieces.end_layer(con, number, now_s())
    return back()


@correcting.post("/layers/<int:number>/reopen")
def reopen_layer(number: int) -> Response:
    """Ended by mistake."""
    with acting() as con:
        pieces.reopen_layer(con, number, now_s())
    return back()


def _layer(number: int) -> Layer:
    found = pieces.layer(reader(), number)
    if found is None:
        abort(404, f"There is no layer {number}. It may have been deleted.")
    return found


@correcting.get("/layers/<int:number>/correct")
def correct_layer_page(number: int) -> str:
    """Everything that was entered of a layer, to be put right."""
    return _correct_layer(_layer(number))


def _correct_layer(layer: Layer, refused: Form | None = None) -> str:
    """The form; with what was typed and what is wrong with it where it was refused."""
    con, here = reader(), local()
    return render_template(
        "correct_layer.html",
        layer=layer,
        typed={} if refused is None else refused.values,
        faults=None if refused is None else refused.faults,
        at={} if refused is None else refused.at,
        drawn=bottles.uses(con, layer.id),
        piece=pieces.piece(con, layer.piece_id),
        shelf=resins.resins(con),
        bases=wording.BASES,
        sensors=readings.sensors(con),
        sizes=[
            (key, name, here.units.unit(unit), here.units.neat(getattr(layer, key), unit))
            for key, name, _, _, unit in _SIZES
            if layer.resin.kind != "paint" or key == "area_cm2"
        ],
        poured=here.full(layer.poured_at_s),
        poured_field=here.field(layer.poured_at_s),
        now_field=here.field(here.now_s),
        units=here.units,
    )


@correcting.post("/layers/<int:number>/correct")
def correct_layer(number: int) -> Response | tuple[str, int]:
    """Correct what was entered wrongly; a field that is not sent stays as it is."""
    layer, here = _layer(number), local()
    form = Form(request.form, here.units)
    fields = {
        **_sizes(form, layer),
        **_words(form),
        **_mixed(form, layer),
        **_sensors(form),
        **_moment(form, layer, here),
    }
    if form.faults:
        return _correct_layer(layer, form), 422
    with acting() as con:
        pieces.change_layer(con, number, here.now_s, **fields)
        measuring.follow_size(con, layer, pieces.layer(con, number))
    return back("pages.piece", number=layer.piece_id)


def _sizes(form: Form, layer: Layer) -> dict[str, Any]:
    found = {}
    for key, name, low, high, unit in _SIZES:
        # A number shown in other units is rounded: left alone, it stays what it was.
        as_shown = form.units.neat(getattr(layer, key), unit)
        if key in form.values and form.values[key].strip() != as_shown:
            found[key] = form.number(key, name, low, high, unit)
    return found


def _words(form: Form) -> dict[str, Any]:
    found: dict[str, Any] = {}
    if "name" in form.values:
        found["name"] = form.text("name", "The layer's name", 80, needed=True)
    if "base" in form.values:
        found["base"] = form.choice("base", "Base", wording.BASES, "wood")
    if "batch" in form.values:
        found["batch"] = form.text("batch", "The batch number", 40)
    return found


def _mixed(form: Form, layer: Layer) -> dict[str, Any]:
    """The resin as the shelf has it today, and the hardener by what was measured."""
    found: dict[str, Any] = {}
    resin = layer.resin
    if form.values.get("resin"):
        chosen = resins.resin(reader(), form.values["resin"])
        if chosen is None:
            form.faults.append("The resin is not on the shelf any more; choose another")
        else:
            found["resin"] = resin = chosen
    share = form.number("hardener_pct", "Hardener", 20, 500, "% of the label's")
    if share is not None and round(layer.hardener_ratio * 100) != share:
        found["hardener_ratio"] = share / 100.0
    measured = mixed_ratio(resin, form)
    if measured is not None:
        found["hardener_ratio"] = measured
    return found


def _sensors(form: Form) -> dict[str, Any]:
    known = ["", *(one.key for one in readings.sensors(reader()))]
    return {
        key: form.choice(key, name, known, "") or None
        for key, name in (("sensor", "The sensor"), ("probe", "The probe"))
        if key in form.values
    }


def _moment(form: Form, layer: Layer, here: Local) -> dict[str, Any]:
    """When the parts met. The field holds whole minutes: left alone, the second stays."""
    if form.values.get("poured_at", "").strip() in ("", here.field(layer.poured_at_s)):
        return {}
    poured_s = form.moment("poured_at", "The moment the parts met", here)
    first = min((mark.at_s for mark in marks.marks(reader(), layer.id)), default=None)
    if poured_s is not None and first is not None and poured_s > first + 60.0:
        form.fault(
            "poured_at",
            f"It would be mixed after the first mark, {here.full(first)}; "
            "correct the mark first, or take it back",
        )
    return {} if poured_s is None else {"poured_at_s": poured_s}


@correcting.post("/pieces/<int:number>/correct")
def correct_piece(number: int) -> Response | tuple[str, int]:
    """Correct a piece's name, note or outcome."""
    _piece(number)
    form = Form(request.form)
    fields = {
        "name": form.text("name", "The piece's name", 80, needed=True),
        "note": form.text("note", "The note", 2000),
        "outcome": form.text("outcome", "How it came out", 400),
    }
    if form.faults:
        return refused(form.faults)
    with acting() as con:
        pieces.change_piece(con, number, now_s(), **fields)
    return back("pages.piece", number=number)


@correcting.post("/pieces/<int:number>/end")
def end_piece(number: int) -> Response | tuple[str, int]:
    """The piece is finished."""
    _piece(number)
    form = Form(request.form)
    outcome = form.text("outcome", "How it came out", 400)
    if form.faults:
        return refused(form.faults)
    with acting() as con:
        pieces.end_piece(con, number, now_s(), outcome)
    return redirect(url_for("pages.piece", number=number))


@correcting.post("/pieces/<int:number>/reopen")
def reopen_piece(number: int) -> Response:
    """Finished by mistake: back on the bench with the layers that ended with it."""
    _piece(number)
    with acting() as con:
        pieces.reopen_piece(con, number, now_s())
    return redirect(url_for("pages.piece", number=number))


@correcting.post("/pieces/<int:number>/archive")
def archive(number: int) -> Response | tuple[str, int]:
    """Put a finished piece away; it stays findable."""
    if _piece(number).ended_at_s is None:
        return refused(["The piece is still on the bench; finish it, then put it away"])
    with acting() as con:
        pieces.archive_piece(con, number, now_s())
    return back("pages.piece", number=number)


@correcting.post("/pieces/<int:number>/unarchive")
def unarchive(number: int) -> Response:
    """Take a piece out again."""
    _piece(number)
    with acting() as con:
        pieces.archive_piece(con, number, now_s(), away=False)
    return back("pages.piece", number=number)


def _piece(number: int) -> Piece:
    found = pieces.piece(reader(), number)
    if found is None:
        abort(404, f"There is no piece {number}. It may have been deleted.")
    return found


@correcting.get("/pieces/<int:number>/delete")
def ask_delete(number: int) -> str:
    """What would be gone, and a copy to keep first."""
    con, found = reader(), _piece(number)
    return render_template(
        "delete_piece.html",
        piece=found,
        marks=sum(len(marks.marks(con, layer.id)) for layer in found.layers),
        photos=sum(
            len(held)
            for layer in found.layers
            for held in photos.of_layer(con, layer.id).values()
        ),
    )  # fmt: skip


@correcting.post("/pieces/<int:number>/delete")
def delete_piece(number: int) -> Response | tuple[str, int]:
    """Delete for good, once the name was typed."""
    found = _piece(number)
    if request.form.get("confirm", "").strip() != found.name:
        return refused([f"To delete it for good, type its name: {found.name}"])
    with acting() as con:
        pieces.delete_piece(con, number)
    return redirect(url_for("pages.history"))
