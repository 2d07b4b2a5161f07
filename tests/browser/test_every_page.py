"""Every page the program has, in every size and both schemes, looked at as a person would.

The list of pages is the application's own: a new page is in it, or the test says what it needs.
"""

from __future__ import annotations

import json
import re

import pytest
from house import KEY
from looking import AXE_SCRIPT, CONTRAST, WCAG, faults_of, keep_picture, unfocused, violations

pytestmark = pytest.mark.browser

SIZES = {"phone": (390, 844), "tablet": (820, 1180), "desktop": (1280, 900)}
# The names of things depend on neither size nor scheme, colours on the scheme alone.
RULES_OF = {"phone": {"light": WCAG, "dark": CONTRAST}, "tablet": {}, "desktop": {"light": None}}
# What stands for a part of an address, and what a page is asked so that it shows something.
PARTS = {"number": "1", "key": "coating_2_1", "name": "mqtt"}
ASKED = {
    "/pour": "?resin=coating_2_1&area_cm2=500&depth_mm=3",
    "/amounts": "?resin=coating_2_1",
    "/compare": "?piece=1&piece=2",
    "/room": f"?sensor={KEY}&other=home/shelf/air&hours=168",
    "/sensor-check": f"?sensor={KEY}",
}


def addresses(app):
    """Every address that answers a GET, with its parts filled in."""
    for rule in app.url_map.iter_rules():
        if "GET" not in rule.methods or rule.endpoint == "static":
            continue
        if rule.rule.startswith("/api/"):
            continue
        path = re.sub(r"<(?:\w+:)?(\w+)>", lambda part: PARTS[part[1]], rule.rule)
        yield path + ASKED.get(path, "")


def pages_of(house):
    """Those that are pages for a person: whole HTML documents."""
    client = house.app.test_client()
    found = []
    for path in sorted(addresses(house.app)):
        answer = client.get(path)
        if answer.mimetype == "text/html" and b"<html" in answer.data:
            found.append((path, answer.status_code))
        answer.close()
    return found


def picture_name(path):
    return re.sub(r"\W+", "-", path.split("?")[0]).strip("-") or "bench"


def test_every_page_fits_and_can_be_used_by_everybody(chromium, lived_in):
    context = chromium.new_context(color_scheme="light")
    context.add_init_script(AXE_SCRIPT)
    asked = []
    context.on("request", lambda request: asked.append(request.url))
    page = context.new_page()
    wrong = {}
    visited = 0
    for path, status in pages_of(lived_in):
        # A new page that shows nothing here needs something to show: House.live_in, or ASKED.
        if status != 200:
            wrong[path] = f"answers {status}"
            continue
        visited += 1
        page.goto(lived_in.url(path))
        for size, (width, height) in SIZES.items():
            page.set_viewport_size({"width": width, "height": height})
            if found := faults_of(page):
                wrong[f"{path} {size}"] = found
            for scheme, rules in RULES_OF[size].items():
                page.emulate_media(color_scheme=scheme)
                if rules and (found := violations(page, rules)):
                    wrong[f"{path} {size} {scheme} axe"] = found
                keep_picture(page, f"{size}-{scheme}-{picture_name(path)}")
            page.emulate_media(color_scheme="light")
        if found := unfocused(page):
            wrong[f"{path} keyboard"] = found
    context.close()
    assert not wrong, json.dumps(wrong, indent=1, ensure_ascii=False)
    assert visited >= 20
    # It works with no internet: nothing is asked of anybody else.
    assert all(url.startswith(lived_in.url("/")) for url in asked)


def test_an_empty_house_shows_a_next_step_on_every_page(chromium, house):
    page = chromium.new_page(viewport={"width": 390, "height": 844})
    wrong, refused = {}, False
    for path, status in pages_of(house):
        # What is not there is refused on one page; one look at it is enough.
        if status == 404 and refused:
            continue
        refused = refused or status == 404
        page.goto(house.url(path))
        if found := faults_of(page):
            wrong[path] = found
        steps = page.locator("main a[href], main button").count()
        if steps == 0:
            wrong[f"{path} ({status})"] = "no next step"
        keep_picture(page, f"empty-{picture_name(path)}")
    page.close()
    assert not wrong, json.dumps(wrong, indent=1, ensure_ascii=False)
