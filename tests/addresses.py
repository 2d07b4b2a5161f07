"""Every page the program has: the list is the application's own."""

from __future__ import annotations

import re
from collections.abc import Iterator

from flask import Flask

KEY = "home/bench/air"
# What stands for a part of an address, and what a page is asked so that it shows something.
PARTS = {"number": "1", "key": "coating_2_1", "name": "mqtt"}
ASKED = {
    "/pour": "?resin=coating_2_1&area_cm2=500&depth_mm=3",
    "/amounts": "?resin=coating_2_1",
    "/compare": "?piece=1&piece=2",
    "/room": f"?sensor={KEY}&other=home/shelf/air&hours=168",
    "/sensor-check": f"?sensor={KEY}",
}


def addresses(app: Flask) -> Iterator[str]:
    """Every address that answers a GET, with its parts filled in."""
    for rule in app.url_map.iter_rules():
        if "GET" not in (rule.methods or ()) or rule.endpoint == "static":
            continue
        if rule.rule.startswith("/api/"):
            continue
        path = re.sub(r"<(?:\w+:)?(\w+)>", lambda part: PARTS[part[1]], rule.rule)
        yield path + ASKED.get(path, "")


def pages_of(app: Flask) -> list[tuple[str, int]]:
    """Those that are pages for a person: whole HTML documents, with the status of their answer."""
    client = app.test_client()
    found = []
    for path in sorted(addresses(app)):
        answer = client.get(path)
        if answer.mimetype == "text/html" and b"<html" in answer.data:
            found.append((path, answer.status_code))
        answer.close()
    return found
