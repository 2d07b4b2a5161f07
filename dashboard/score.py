"""How good were the times? Past forecasts and bands beside what happened."""

from __future__ import annotations

from flask import Blueprint, render_template

from dashboard import views, wording
from dashboard.db import reader
from dashboard.pages import local
from dashboard.wording import Local
from monitor.answers import scores
from monitor.core.vocabulary import Layer
from monitor.store import pieces, readings

score = Blueprint("score", __name__)


@score.get("/score")
def score_page() -> str:
    """The last 90 days."""
    con, here = reader(), local()
    shown = views.units(con)

    def apart(change_c: float) -> str:
        return f"{shown.shown(change_c) - shown.shown(0.0):.1f} {shown.degree}"

    rooms = []
    for sensor in readings.sensors(con):
        found = scores.of_room(con, sensor.key, here.now_s)
        rooms.append(
            {
                "name": views.sensor_name(sensor),
                "kept": found.kept,
                "leads": [
                    {
                        "lead": f"{lead.lead_h:.0f} h",
                        "count": lead.count,
                        "error": apart(lead.error_c),
                        "as_now": apart(lead.as_now_error_c),
                        "inside": f"{lead.inside:.0%}",
                    }
                    for lead in found.leads
                ],
            }
        )
    layers = scores.of_stages(con, here.now_s)
    names = {one.id: one.name for one in pieces.pieces(con)}
    ran = [row.ran_inside for _, rows in layers for row in rows if row.ran_inside is not None]
    felt = [row.felt for _, rows in layers for row in rows if row.felt not in (None, "open")]
    return render_template(
        "score.html",
        rooms=rooms,
        layers=[_layer_view(layer, rows, names, here) for layer, rows in layers],
        ran=_share(sum(ran), len(ran)),
        felt=_share(sum(one == "inside" for one in felt), len(felt)),
    )


def _share(hits: int, of: int) -> str:
    return f"{hits} of {of}" if of else ""


def _layer_view(
    layer: Layer,
    rows: tuple[scores.StageScore, ...],
    names: dict[int, str],
    here: Local,
) -> dict[str, object]:
    def after(at_s: float) -> str:
        return wording.hours((at_s - layer.poured_at_s) / 3600.0)

    ran = [row.ran_inside for row in rows if row.ran_inside is not None]
    return {
        "name": layer.name,
        "piece": names.get(layer.piece_id, ""),
        "piece_id": layer.piece_id,
        "poured": here.full(layer.poured_at_s),
        "ran": _share(sum(ran), len(ran)),
        "stages": [
            {
                "name": wording.STAGE_NAMES.get(row.key, row.key),
                "said": f"{after(row.p10_s)} to {after(row.p90_s)}",
                "ran": "not there yet" if row.ran_s is None else after(row.ran_s),
                "ran_inside": row.ran_inside,
                "felt": "" if row.felt is None else wording.FELT_NAMES[row.felt],
            }
            for row in rows
        ],
    }
