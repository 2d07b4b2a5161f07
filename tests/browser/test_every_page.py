"""Every page the program has, in every size and both schemes, looked at as a person would.

The list of pages is the application's own: a new page is in it, or the test says what it needs.
"""

from __future__ import annotations

import json
import re

import pytest
from addresses import pages_of
from looking import AXE_SCRIPT, CONTRAST, WCAG, faults_of, keep_picture, unfocused, violations

pytestmark = pytest.mark.browser

SIZES = {"phone": (390, 844), "tablet": (820, 1180), "desktop": (1280, 900)}
# The names of things depend on neither size nor scheme, colours on the scheme alone.
RULES_OF = {"phone": {"light": WCAG, "dark": CONTRAST}, "tablet": {}, "desktop": {"light": None}}


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
    for path, status in pages_of(lived_in.app):
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
    for path, status in pages_of(house.app):
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
