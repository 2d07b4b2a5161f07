"""A piece to take away as tables and photos."""

from __future__ import annotations

from flask import Blueprint, Response, abort

from dashboard.db import reader
from monitor.answers.export_tables import piece_zip
from monitor.store import pieces

exports = Blueprint("exports", __name__)


@exports.get("/pieces/<int:number>/export.zip")
def tables(number: int) -> Response:
    """CSV tables of everything, and the photos."""
    if pieces.piece(reader(), number) is None:
        abort(404, f"There is no piece {number}. It may have been deleted.")
    return Response(
        piece_zip(reader(), number),
        mimetype="application/zip",
        headers={"Content-Disposition": f'attachment; filename="piece-{number}.zip"'},
    )
