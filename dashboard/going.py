"""Where a person is led after an act, and how a refusal is told."""

from __future__ import annotations

import re
from typing import Any

from flask import redirect, render_template, request, url_for
from werkzeug.wrappers import Response

# Browsers leave out tabs and line breaks and take `\` for `/`, and `//` begins another host.
_OURS = re.compile(r"/(?!/)[^\s\\\x00-\x20\x7f-\x9f]*")


def back(default: str = "pages.bench", **values: Any) -> Response:
    """To the page the person came from, if it is one of ours."""
    wanted = request.form.get("back", "")
    if _OURS.fullmatch(wanted):
        return redirect(wanted)
    return redirect(url_for(default, **values))


def refused(faults: list[str], status: int = 422) -> tuple[str, int]:
    """Say in words what could not be taken; what was typed is a step back in the browser."""
    return render_template("refused.html", faults=faults), status
