"""What a person saw or did: one tap logs it, one takes it back, and it can be corrected."""

from __future__ import annotations

from flask import Blueprint, abort, render_template, request
from werkzeug.wrappers import Response

from dashboard import wording
from dashboard.db import acting, now_s, reader
from dashboard.forms import Form
from dashboard.going import back, refused
from dashboard.photos import allow_photo, sent_photo
from dashboard.shrinking import RefusedPicture
from dashboard.views import local
from monitor.answers import measuring
from monitor.core.vocabulary import Layer, Mark
from monitor.store import bottles, changes, marks, photos, pieces
from monitor.store.errors import StoreError

marking = Blueprint("marking", __name__)

# A clock on a phone and one on a board may differ by this much.
SLACK_S = 60.0


@marking.post("/layers/<int:number>/marks")
def add_mark(number: int) -> Response | tuple[str, int]:
    """Log what was seen or done, with a photo if there is one."""
    allow_photo()
    try:
        picture = sent_photo()
    except RefusedPicture as error:
        return refused([str(error)])
    form, here = Form(request.form), local()
    kind, verdict, note = _what(form)
    at_s = form.moment("at", "The moment", here) or here.now_s
    if form.faults:
        return refused(form.faults)
    with acting() as con:
        layer = pieces.layer(con, number)
        if layer is None:
            abort(404, f"There is no layer {number}. It may have been deleted.")
        if at_s < layer.poured_at_s - SLACK_S:
            return refused(["The mark lies before the pour; correct one of the two"])
        made = marks.add_mark(con, number, kind, at_s, verdict, note)  # type: ignore[arg-type]
        if picture is not None:
            photos.add(con, made, here.now_s, picture.width, picture.height, picture.jpeg)
    return back()


def _what(form: Form) -> tuple[str, str | None, str]:
    """Kind, verdict and note of a mark as typed; what makes no sense is a fault in words."""
    kind = form.choice("kind", "The mark", wording.MARK_NAMES, "note")
    verdict = form.values.get("verdict") or None
    if verdict is not None and verdict not in wording.VERDICT_NAMES:
        form.faults.append(f"The verdict {verdict!r} is unknown")
    note = form.text("note", "The note", 400)
    if kind == "note" and not note:
        form.faults.append("The note is empty; write something")
    return kind, verdict, note


def _found(number: int) -> tuple[Mark, Layer]:
    con = reader()
    mark = marks.mark(con, number)
    layer = None if mark is None else pieces.layer(con, mark.layer_id)
    if mark is None or layer is None:
        abort(404, f"There is no mark {number}. It may have been deleted with its piece.")
    return mark, layer


@marking.get("/marks/<int:number>/correct")
def correct_mark_page(number: int) -> str:
    """What was logged, to be put right."""
    mark, layer = _found(number)
    here = local()
    return render_template(
        "correct_mark.html",
        mark=mark,
        layer=layer,
        when=here.full(mark.at_s),
        at_field=here.field(mark.at_s),
        now_field=here.field(here.now_s),
        kinds={
            key: wording.MARK_NAMES[key]
            for key in (*wording.MARKS_OF[layer.resin.kind], "tape_pulled", "note")
        }
        | {mark.kind: wording.MARK_NAMES[mark.kind]},
        verdicts=wording.VERDICT_NAMES,
        photos=photos.of_layer(reader(), layer.id).get(mark.id, ()),
    )


@marking.post("/marks/<int:number>/correct")
def correct_mark(number: int) -> Response | tuple[str, int]:
    """Correct a mark's kind, time or note; the old value is kept."""
    mark, layer = _found(number)
    form, here = Form(request.form), local()
    kind, verdict, note = _what(form)
    at_s = mark.at_s
    # The field holds whole minutes: left alone, the mark keeps its second.
    if request.form.get("at", "").strip() not in ("", here.field(mark.at_s)):
        at_s = form.moment("at", "The moment", here) or mark.at_s
    if at_s < layer.poured_at_s - SLACK_S:
        form.faults.append("The mark lies before the pour; correct one of the two")
    if form.faults:
        return refused(form.faults)
    with acting() as con:
        marks.change_mark(
            con,
            number,
            here.now_s,
            kind=kind,
            seen_at_s=at_s,
            verdict=verdict if kind == "tape_pulled" else None,
            note=note,
        )
    return back("pages.piece", number=layer.piece_id)


@marking.post("/marks/<int:number>/<act>")
def change_mark(number: int, act: str) -> Response:
    """Take a mark back, bring it back, set it aside or count it again."""
    _found(number)
    with acting() as con:
        if act == "remove":
            marks.remove_mark(con, number, now_s())
        elif act == "restore":
            marks.restore_mark(con, number, now_s())
        elif act in ("aside", "count"):
            marks.set_aside(con, number, now_s(), act == "aside")
        else:
            abort(404, f"{act!r} is not something a mark can do.")
    return back()


@marking.post("/changes/<int:number>/undo")
def undo_change(number: int) -> Response | tuple[str, int]:
    """Put a corrected field back to what it was."""
    try:
        with acting() as con:
            drawing = [pieces.layer(con, layer) for layer in bottles.drawing(con)]
            piece = changes.undo(con, number, now_s())
            for before in drawing:
                if before is not None:
                    measuring.follow_size(con, before, pieces.layer(con, before.id))
    except StoreError as error:
        return refused([f"{error}"])
    return back("pages.piece", number=piece)
