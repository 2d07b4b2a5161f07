"""Pieces, layers, marks: corrected with their history kept, deleted with all that is theirs."""

from __future__ import annotations

import pytest

from monitor.core.vocabulary import ResinProfile, StageTime
from monitor.store import alarms, changes, marks, photos, pieces, resins
from monitor.store.connection import writing
from monitor.store.errors import StoreError

RESIN = ResinProfile("r", "Made-up resin", "pour", 23.0, {"tack_free": StageTime(8.0, "label")})
T0 = 1_790_000_000.0


@pytest.fixture
def layer_id(con):
    with writing(con):
        piece = pieces.add_piece(con, "Tray", T0, "for the hall")
        return pieces.add_layer(con, piece, "Flood coat", RESIN, T0, T0, depth_mm=3.0)


def test_a_layer_keeps_the_resin_as_it_was_that_day(con, layer_id):
    from dataclasses import replace

    with writing(con):
        resins.save_resin(con, RESIN, T0)
        resins.save_resin(con, replace(RESIN, ref_temp_c=25.0), T0 + 1)
    assert pieces.layer(con, layer_id).resin == RESIN
    assert resins.resin(con, "r").ref_temp_c == 25.0


def test_the_library_does_not_overwrite_what_a_person_saved(con):
    from dataclasses import replace

    with writing(con):
        resins.save_resin(con, RESIN, T0, origin="library")
        resins.save_resin(con, replace(RESIN, name="Mine"), T0)
        resins.save_resin(con, RESIN, T0, origin="library")
    assert resins.resin(con, "r").name == "Mine"


def test_a_corrected_field_keeps_its_old_value(con, layer_id):
    with writing(con):
        pieces.change_layer(con, layer_id, T0 + 60, depth_mm=5.0, poured_at_s=T0 - 600)
        pieces.change_layer(con, layer_id, T0 + 61, depth_mm=5.0)
    layer = pieces.layer(con, layer_id)
    assert (layer.depth_mm, layer.poured_at_s) == (5.0, T0 - 600)
    history = [(c.field, c.before, c.after) for c in changes.changes(con, layer.piece_id)[1:]]
    assert history == [("depth_mm", "3.0", "5.0"), ("poured_at_s", str(T0), str(T0 - 600))]


def test_a_field_that_is_not_there_is_refused_and_nothing_changes(con, layer_id):
    with pytest.raises(StoreError, match="'colour' of layers cannot be changed"), writing(con):
        pieces.change_layer(con, layer_id, T0, depth_mm=9.0, colour="red")
    assert pieces.layer(con, layer_id).depth_mm == 3.0


def test_an_ended_piece_leaves_the_bench_and_stays_in_the_history(con, layer_id):
    piece = pieces.layer(con, layer_id).piece_id
    assert [layer.id for _, layer in pieces.bench(con)] == [layer_id]
    with writing(con):
        pieces.end_piece(con, piece, T0 + 9000, "fine")
    assert pieces.bench(con) == []
    ended = pieces.pieces(con, ended=True)[0]
    assert (ended.outcome, ended.layers[0].ended_at_s) == ("fine", T0 + 9000)


@pytest.mark.parametrize("words", ["tray", "HALL", "flood", "made-up"])
def test_a_piece_is_found_by_name_note_layer_and_resin(con, layer_id, words):
    assert len(pieces.pieces(con, search=words)) == 1
    assert pieces.pieces(con, search="%") == []


def test_a_mark_taken_back_can_return(con, layer_id):
    with writing(con):
        mark = marks.add_mark(con, layer_id, "tacky", T0 + 3600)
        marks.remove_mark(con, mark, T0 + 3601)
    assert marks.marks(con, layer_id) == []
    with writing(con):
        marks.restore_mark(con, mark, T0 + 3602)
        marks.set_aside(con, mark, T0 + 3603, True)
    assert [(m.kind, m.set_aside) for m in marks.marks(con, layer_id)] == [("tacky", True)]
    with pytest.raises(StoreError, match="no mark 999"), writing(con):
        marks.remove_mark(con, 999, T0)


def test_a_correction_is_undone_and_the_undoing_is_kept_too(con, layer_id):
    from dataclasses import replace

    other = replace(RESIN, key="s", name="Other resin")
    piece = pieces.layer(con, layer_id).piece_id
    with writing(con):
        pieces.change_layer(con, layer_id, T0 + 60, poured_at_s=T0 - 600, resin=other, batch="B7")
        for change in changes.changes(con, piece)[1:]:
            assert changes.undo(con, change.id, T0 + 90) == piece
    layer = pieces.layer(con, layer_id)
    assert (layer.poured_at_s, layer.resin, layer.batch) == (T0, RESIN, "")
    told = [(c.field, c.before, c.after) for c in changes.changes(con, piece) if c.field == "resin"]
    names = ("Made-up resin", "Other resin")
    assert told == [("resin", *names), ("resin", *reversed(names))]


def test_what_was_changed_again_since_cannot_be_undone(con, layer_id):
    piece = pieces.layer(con, layer_id).piece_id
    with writing(con):
        pieces.change_layer(con, layer_id, T0 + 60, depth_mm=5.0)
        pieces.change_layer(con, layer_id, T0 + 61, depth_mm=6.0)
    started, first, second = changes.changes(con, piece)
    assert [one.undoable for one in (started, first, second)] == [False, False, True]
    for one, why in ((first, "changed again since"), (started, "not something that can be undone")):
        with pytest.raises(StoreError, match=why), writing(con):
            changes.undo(con, one.id, T0 + 90)
    assert pieces.layer(con, layer_id).depth_mm == 6.0


def test_a_resin_changed_before_its_numbers_were_kept_is_told_but_not_undone(con, layer_id):
    piece = pieces.layer(con, layer_id).piece_id
    with writing(con):
        changes.note(con, "layers", layer_id, T0, "resin", "An old resin", "Made-up resin")
    last = changes.changes(con, piece)[-1]
    assert (last.before, last.undoable) == ("An old resin", False)


def test_what_changes_on_a_mark_is_kept_with_its_piece(con, layer_id):
    with writing(con):
        mark = marks.add_mark(con, layer_id, "tacky", T0 + 3600)
        marks.change_mark(con, mark, T0 + 3700, kind="hard", seen_at_s=T0 + 3000)
        marks.set_aside(con, mark, T0 + 3800, True)
        marks.remove_mark(con, mark, T0 + 3900)
    told = [
        (c.field, c.before, c.after)
        for c in changes.changes(con, pieces.layer(con, layer_id).piece_id)
        if c.table == "marks"
    ]
    assert told == [
        ("kind", "tacky", "hard"),
        ("seen_at_s", str(T0 + 3600), str(T0 + 3000)),
        ("set_aside", "0", "1"),
        ("removed_at_s", None, str(T0 + 3900)),
    ]
    assert marks.mark(con, mark).kind == "hard"
    assert [one.id for one in marks.taken_back(con, layer_id)] == [mark]


def test_a_reopened_piece_has_its_layers_back_but_not_one_that_had_ended_before(con, layer_id):
    piece = pieces.layer(con, layer_id).piece_id
    with writing(con):
        second = pieces.add_layer(con, piece, "Second", RESIN, T0 + 100, T0 + 100)
        pieces.end_layer(con, layer_id, T0 + 500)
        pieces.end_piece(con, piece, T0 + 900)
        pieces.archive_piece(con, piece, T0 + 950)
        pieces.reopen_piece(con, piece, T0 + 999)
    assert pieces.piece(con, piece).archived_at_s is None
    assert [layer.id for _, layer in pieces.bench(con)] == [second]
    with pytest.raises(StoreError, match="no piece 99"), writing(con):
        pieces.reopen_piece(con, 99, T0)


def test_deleting_a_piece_takes_all_that_is_its_own(con, layer_id):
    piece = pieces.layer(con, layer_id).piece_id
    with writing(con):
        mark = marks.add_mark(con, layer_id, "tacky", T0)
        photos.add(con, mark, T0, 4, 3, b"a jpeg")
        alarms.ask(con, "tack_free", f"layer:{layer_id}", "acknowledge", T0)
        pieces.delete_piece(con, piece)
    for table in ("pieces", "layers", "marks", "photos", "changes"):
        assert con.execute(f"SELECT count(*) FROM {table}").fetchone()[0] == 0
