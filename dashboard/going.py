"""Where a person is led after an act, and how a refusal is told."""

from __future__ import annotations

from typing import Any

from flask import redirect, render_template, request, url_for
from werkzeug.wrappers import Response


def back(default: str = "pages.bench", **values: Any) -> Response:
    """To the page the person came from, if it is one of ours."""
    wanted = request.form.get("back", "")
    if wanted.startswith("/") and not wanted.startswith("//") and "\\" not in wanted:
        return redirect(wanted)
    return redirect(url_for(default, **values))


def refused(faults: list[str], status: int = 422) -> tuple[str, int]:
    """Say in words what could not be taken; what was typed is a step back in the browser."""
    return render_template("refused.html", faults=faults), status
