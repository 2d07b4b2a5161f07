"""Another language in a real browser: the scripts' words too, and from right to left."""

from __future__ import annotations

from contextlib import closing

import numpy as np
import pytest
from babel.messages.catalog import Catalog
from babel.messages.pofile import write_po
from house import HOUR, T0
from looking import faults_of

from monitor.store import connection, settings
from monitor.store.connection import writing

pytestmark = pytest.mark.browser

ARABIC = {
    "Touch a chart, or use the arrow keys, to read its values.": "المس الرسم",
    "Read values": "القيم",
    "Temperature and dew point": "الحرارة",
    "temperature": "حرارة",
    "This browser cannot show notices. Use one of the other ways.": "لا إشعارات",
}


@pytest.fixture
def arabic(house):
    """The house with a piece, in a language from right to left."""
    folder = house.path.parent / "languages"
    folder.mkdir()
    book = Catalog(locale="ar")
    for english, said in ARABIC.items():
        book.add(english, said)
    with (folder / "ar.po").open("wb") as opened:
        write_po(opened, book)
    house.room(np.full(60, 21.0), T0)
    house.pour("Harbour panel", house.now_s - 2 * HOUR)
    house.think()
    with closing(connection.open_owner(house.path)) as con, writing(con):
        settings.put(con, "language", "ar", house.now_s)
    return house


def test_the_scripts_speak_the_language_of_the_page(chromium, arabic):
    page = chromium.new_page()
    errors = []
    page.on("pageerror", lambda error: errors.append(str(error)))
    page.goto(arabic.url("/room"))
    assert page.locator(".readout").first.text_content() == "المس الرسم"
    handle = page.get_by_role("slider").first
    assert handle.get_attribute("aria-label") == "القيم: الحرارة"
    handle.press("Home")
    assert "حرارة 21" in page.locator(".readout").first.text_content()
    page.close()
    assert errors == []


def test_a_page_from_right_to_left_fits(chromium, arabic):
    page = chromium.new_page(viewport={"width": 390, "height": 844})
    wrong = {}
    for path in ("/", "/room", "/pieces/1", "/settings", "/alarms"):
        page.goto(arabic.url(path))
        assert page.evaluate("getComputedStyle(document.body).direction") == "rtl"
        if found := faults_of(page):
            wrong[path] = found
    page.close()
    assert wrong == {}
