"""The application: options in, pages out."""

from __future__ import annotations

import hashlib
import sqlite3
from pathlib import Path
from urllib.parse import urlsplit

from flask import Flask, Response, render_template, request
from werkzeug.exceptions import HTTPException
from werkzeug.routing import IntegerConverter, Map
from werkzeug.wrappers import Response as Answer

from dashboard import api, db, feeds, joined, translating
from dashboard.acts import acts
from dashboard.alarms_page import alarm_pages
from dashboard.correcting import correcting
from dashboard.exports import exports
from dashboard.learned import learned
from dashboard.marking import marking
from dashboard.options import Options
from dashboard.pages import bench_parts, pages
from dashboard.photos import photo_pages
from dashboard.score import score
from dashboard.sensor_check import checks
from dashboard.translating import Pages
from dashboard.whole_piece import whole_piece
from monitor.store import trouble
from monitor.store.errors import NotThere, StoreError

BODY_BYTES = 256 * 1024
# Nothing from outside the board, no inline script.
POLICY = (
    "default-src 'self'; img-src 'self' data:; style-src 'self'; script-src 'self'; "
    "base-uri 'none'; form-action 'self'; frame-ancestors 'none'"
)


# Whole sentences, so that each can be translated.
NOT_SAVED: dict[trouble.Kind, str] = {
    "full": "Not saved: the disk is full. Free some space (look with: df -h), then do it again.",
    "busy": "Not saved: the store is busy. Do it again in a moment.",
    "not writable": "Not saved: the store may not be written. What mends it: pourside check",
    "damaged": (
        "Not saved: the store is damaged. Stop the monitor and put a backup back: "
        "pourside restore FILE --yes"
    ),
}


class StoredNumber(IntegerConverter):
    """A row's number in an address; beyond what the store can hold there is no such page."""

    def __init__(self, url_map: Map) -> None:
        super().__init__(url_map, max=2**63 - 1)


def create_app(options: Options) -> Flask:
    """The page over one store."""
    app = Pages(__name__)
    app.config["OPTIONS"] = options
    app.config["MAX_CONTENT_LENGTH"] = BODY_BYTES
    app.jinja_env.trim_blocks = app.jinja_env.lstrip_blocks = True
    app.jinja_env.add_extension("jinja2.ext.i18n")
    app.jinja_env.policies["ext.i18n.trimmed"] = True
    app.jinja_env.install_null_translations(newstyle=True)
    app.url_map.converters["int"] = StoredNumber
    db.install(app)
    translating.install(app)
    joined.install(app)
    app.register_blueprint(pages)
    app.register_blueprint(acts)
    app.register_blueprint(alarm_pages)
    app.register_blueprint(marking)
    app.register_blueprint(correcting)
    app.register_blueprint(photo_pages)
    app.register_blueprint(exports)
    app.register_blueprint(api.api)
    app.register_blueprint(feeds.feeds)
    app.register_blueprint(learned)
    app.register_blueprint(score)
    app.register_blueprint(checks)
    whole_piece(app)
    version = _version(Path(app.static_folder or ""))

    @app.context_processor
    def everywhere() -> dict[str, object]:
        return {"demo": options.demo, "speed": options.speed, "version": version}

    @app.get("/bench-now")
    def bench_now() -> Answer:
        """The changing part of the bench; 304 while nothing changed."""
        answer = Response(render_template("_bench.html", **bench_parts()), mimetype="text/html")
        answer.add_etag()
        return answer.make_conditional(request)

    @app.before_request
    def same_origin() -> tuple[str, int] | Response | None:
        """A form on somebody else's page must not act here."""
        if request.method in ("GET", "HEAD", "OPTIONS"):
            return None
        origin = request.headers.get("Origin")
        site = request.headers.get("Sec-Fetch-Site", "same-origin")
        foreign = origin is not None and urlsplit(origin).netloc != request.host
        if foreign or site not in ("same-origin", "none"):
            words = "This act came from another site; open the page itself and try again."
            if request.path.startswith("/api/"):
                return api.problem(403, "Forbidden", words)
            return render_template("refused.html", faults=[words]), 403
        return None

    @app.after_request
    def guarded(answer: Response) -> Response:
        answer.headers["Content-Security-Policy"] = POLICY
        answer.headers["X-Content-Type-Options"] = "nosniff"
        answer.headers["Referrer-Policy"] = "same-origin"
        if answer.mimetype == "text/html":
            answer.headers["Cache-Control"] = "no-cache"
        return answer

    @app.errorhandler(HTTPException)
    def http_fault(error: HTTPException) -> Answer | tuple[str, int]:
        code = error.code or 500
        if request.path.startswith("/api/"):
            return api.problem(code, error.name, error.description or error.name)
        return render_template("refused.html", faults=[error.description]), code

    @app.errorhandler(StoreError)
    def store_fault(error: StoreError) -> Answer | tuple[str, int]:
        gone = isinstance(error, NotThere)
        code, title = (404, "Not found") if gone else (503, "Store not available")
        if request.path.startswith("/api/"):
            return api.problem(code, title, str(error))
        return render_template("refused.html", faults=[str(error)]), code

    @app.errorhandler(sqlite3.Error)
    def store_trouble(error: sqlite3.Error) -> Answer | tuple[str, int]:
        app.logger.error("%s %s: %s", request.method, request.path, error)
        if request.method in ("GET", "HEAD"):
            words = f"The store cannot be read ({error}). {trouble.advice(error)}"
        else:
            words = NOT_SAVED.get(
                trouble.kind(error),
                f"Not saved: the store cannot be written ({error}). Look with: pourside check",
            )
        if request.path.startswith("/api/"):
            return api.problem(503, "Store not available", words)
        return render_template("refused.html", faults=[words]), 503

    return app


def _version(folder: Path) -> str:
    """A mark that changes with the static files, so that a phone fetches them anew."""
    digest = hashlib.sha256()
    for file in sorted(folder.glob("*")):
        digest.update(file.read_bytes())
    return digest.hexdigest()[:10]
