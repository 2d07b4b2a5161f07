"""The pages a person reads: the table of addresses, and the smaller pages themselves."""

from __future__ import annotations

import io
from urllib.parse import urlsplit

from flask import Blueprint, Response, render_template, request

from dashboard import before, history, record, room_page, translating, views, wording
from dashboard.db import now_s, options, reader
from dashboard.first_steps import first_steps
from dashboard.units import CHOICES, Units
from dashboard.views import local as local
from dashboard.works import works
from monitor.store import forgetting, pieces, readings, resins, settings

pages = Blueprint("pages", __name__)
# Addresses that no other machine can open.
LOOPBACK = ("localhost", "127.0.0.1", "::1")

for address, view in (
    ("/pour", before.pour),
    ("/pour-now", before.pour_now),
    ("/pieces", history.history),
    ("/compare", history.compare),
    ("/pieces/<int:number>", record.piece),
    ("/pieces/<int:number>/record", record.record),
    ("/pieces/<int:number>/export.json", record.export_json),
    ("/pieces/<int:number>/room.csv", record.export_room),
    ("/room", room_page.room),
    ("/room.csv", room_page.room_csv),
):
    pages.add_url_rule(address, view_func=view)


@pages.app_template_global()
def chosen_units() -> Units:
    """The units of this person, for a template that was handed none."""
    return views.units(reader())


@pages.app_template_global()
def sensor_name(sensor: readings.Sensor) -> str:
    """What a sensor is called, on every page."""
    return views.sensor_name(sensor)


@pages.get("/")
def bench() -> str:
    """The first screen."""
    return render_template("bench.html", **bench_parts())


def bench_parts() -> dict[str, object]:
    """What the bench shows, for the page and for its refresh."""
    con, here = reader(), local()
    shown = views.units(con)
    return {
        "layers": views.bench(con, here, shown),
        "rooms": views.rooms(con, here, shown),
        "alarms": views.standing(con, here),
        "works": works(con, options(), here),
        "clock": here.at(here.now_s).strftime("%H:%M"),
        "pieces_open": pieces.pieces(con, ended=False),
        "verdicts": wording.VERDICT_NAMES,
        "steps": first_steps(con),
    }


@pages.get("/resins")
def resin_page() -> str:
    """The shelf, and what each resin has taught."""
    con, here = reader(), local()
    shelf = [
        {
            "profile": profile,
            "taught": here.spoken(options().taught(con, profile, here.now_s)),
            "stages": [
                (wording.STAGE_NAMES.get(key, key), wording.hours(stage.hours),
                 wording.BASIS_NAMES[stage.basis])
                for key, stage in profile.stages.items()
            ],
        }
        for profile in resins.resins(con)
    ]  # fmt: skip
    return render_template("resins.html", shelf=shelf, wording=wording)


@pages.get("/resins/new")
def new_resin() -> str:
    """Add a resin, or change one: the label's own numbers."""
    con = reader()
    start = resins.resin(con, request.args.get("from", ""))
    return render_template("resin_form.html", start=start, faults=[], typed={},
                           wording=wording, kinds=wording.KINDS)  # fmt: skip


@pages.get("/settings")
def settings_page() -> str:
    """Units, language, quiet hours, sensor names, and a way to open this on a phone."""
    con, there = reader(), translating.there()
    return render_template(
        "settings.html",
        languages={code: one.own_name for code, one in there.known.items()},
        language_faults=there.faults,
        chosen=settings.everything(con),
        choices=CHOICES,
        sensors=readings.sensors(con),
        forgettable=forgetting.forgettable(con, now_s()),
        address=_address(),
        calendar=f"webcal://{urlsplit(_address()).netloc}/calendar.ics",
        at_home=urlsplit(_address()).hostname in LOOPBACK,
        zone=options().zone,
    )


@pages.get("/settings/forget")
def ask_forget() -> str:
    """What would be gone with the sensors that were chosen."""
    con, here = reader(), local()
    chosen = request.args.getlist("sensor")
    found = [one for one in forgetting.forgettable(con, here.now_s) if one.key in chosen]
    heard = {one.key: here.clock(one.last_at_s) for one in found}
    return render_template("forget_sensor.html", sensors=found, heard=heard)


def _address() -> str:
    return options().base_url or request.host_url


@pages.get("/phone.svg")
def phone_code() -> Response:
    """The page's address as a code that a phone's camera reads."""
    import segno

    out = io.BytesIO()
    segno.make(_address(), error="m").save(out, kind="svg", scale=5, border=2, light="#fff")
    return Response(out.getvalue(), mimetype="image/svg+xml")


@pages.get("/manifest.webmanifest")
def manifest() -> Response:
    """What a phone needs to put the page on its home screen."""
    return Response(
        '{"name": "Pourside", "short_name": "Pourside", "start_url": "/", '
        '"display": "standalone", "background_color": "#f7f4ec", "theme_color": "#f7f4ec", '
        '"icons": [{"src": "/static/icon.svg", "sizes": "any", "type": "image/svg+xml"}]}',
        mimetype="application/manifest+json",
    )
