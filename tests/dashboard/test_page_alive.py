"""What only a real browser shows: paper, the slider's answer, the cursor, sizes on a phone."""

from __future__ import annotations

import re
import threading
from contextlib import closing
from pathlib import Path

import numpy as np
import pytest
from conftest import need
from playwright.sync_api import sync_playwright
from waitress.server import create_server

from dashboard.app import create_app
from dashboard.options import Options
from monitor import assembly, brokers, shelf
from monitor.store import connection, intake_rows, marks, pieces, resins
from monitor.store.connection import writing
from monitor.store.intake_rows import Arrival
from monitor.watch import Watch, Works

pytestmark = pytest.mark.browser

CHROMIUM = Path("/usr/bin/chromium")
KEY = "home/bench/air"
NOW = 1_790_000_000.0
HOUR = 3600.0
PHONE = {"width": 390, "height": 844}


def lived_in(path):
    """A room with three cold nights and a piece of two pours, each with marks and a mistake."""
    hours = np.arange(-80.0, 0.0, 1 / 12)
    temps = np.where(hours % 24 > 16, 14.0, 21.0)
    rows = [
        Arrival(KEY, NOW + h * HOUR, round(float(t), 1), 45.0)
        for h, t in zip(hours, temps, strict=True)
    ]
    with closing(connection.open_owner(path)) as con:
        with writing(con):
            for profile in shelf.library():
                resins.save_resin(con, profile, NOW, origin="library")
            intake_rows.commit(con, "home", "bench", rows, (), {}, NOW)
            piece = pieces.add_piece(con, "Harbour panel", NOW - 72 * HOUR, "Birch, brass inlay.")
            coating = resins.resin(con, "coating_2_1")
            for number, start_h in enumerate((-72.0, -40.0), 1):
                at_s = NOW + start_h * HOUR
                pieces.add_layer(
                    con, piece, f"Coat {number}", coating, at_s, at_s, depth_mm=3.0,
                    area_cm2=900.0, hardener_ratio=0.92, batch="4711",
                )  # fmt: skip
                for after_h, kind in ((5, "stringy"), (9, "tacky"), (14, "tack_free")):
                    marks.add_mark(con, number, kind, at_s + after_h * HOUR, None, "")
        for back_h in (60, 40, 20, 0):
            Watch().think(con, NOW - back_h * HOUR, Works())
        with writing(con):
            pieces.end_piece(con, piece, NOW, "Kept as a sample, a soft corner.")


@pytest.fixture(scope="module")
def address(tmp_path_factory):
    """The page over that room, served."""
    need(CHROMIUM.exists(), "Chromium")
    path = tmp_path_factory.mktemp("alive") / "pourside.db"
    lived_in(path)
    options = Options(path, lambda: NOW + 60, zone="Europe/Lisbon", **assembly.page_parts())
    port = brokers.free_port()
    server = create_server(create_app(options), host="127.0.0.1", port=port)
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    yield f"http://127.0.0.1:{port}"
    server.close()
    thread.join(5)


@pytest.fixture(scope="module")
def chromium(address):
    """One browser for all of these."""
    with sync_playwright() as driver:
        browser = driver.chromium.launch(
            executable_path=str(CHROMIUM), args=["--no-sandbox", "--disable-dev-shm-usage"]
        )
        yield browser
        browser.close()


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_the_record_of_two_layers_is_one_sheet(chromium, address, paper):
    page = chromium.new_page()
    page.goto(f"{address}/pieces/1/record")
    sheets = re.findall(rb"/Type\s*/Page\b", page.pdf(format=paper))
    page.close()
    assert len(sheets) == 1


def test_the_slider_answers_at_once_and_keeps_what_was_typed(chromium, address):
    page = chromium.new_page(viewport=PHONE)
    page.goto(f"{address}/pour?resin=coating_2_1&area_cm2=900&depth_mm=3")
    page.fill("[name=name]", "Tray")
    page.eval_on_selector(
        "[name=later_h]",
        "e => { e.value = 12; e.dispatchEvent(new Event('input', { bubbles: true })); }",
    )
    page.wait_for_selector("text=Pour then?", timeout=5000)
    assert page.input_value("[name=name]") == "Tray"
    # The verdict alone is read aloud, not the whole answer.
    assert page.inner_text("#said").startswith("Pour then?")
    page.close()


def test_arrow_keys_and_a_finger_read_the_values_of_a_chart(chromium, address):
    page = chromium.new_page(viewport=PHONE)
    page.goto(f"{address}/room")
    handle = page.locator(".handle").first
    handle.focus()
    page.keyboard.press("Home")
    first = handle.get_attribute("aria-valuetext")
    page.keyboard.press("ArrowRight")
    second = handle.get_attribute("aria-valuetext")
    assert first != second
    assert re.search(r"temperature \d+\.\d °C, dew point -?\d+\.\d °C", second)
    box = handle.bounding_box()
    page.mouse.click(box["x"] + box["width"] / 2, box["y"] + 60)
    assert page.locator(".readout").first.inner_text() not in (first, second)
    assert page.locator(".readout").first.inner_text() == handle.get_attribute("aria-valuetext")
    page.close()


def test_no_word_of_a_picture_is_smaller_than_14_px_on_a_phone(chromium, address):
    page = chromium.new_page(viewport=PHONE)
    for path in ("/", "/room", "/room?hours=168", "/pieces/1", "/pieces/1/record", "/compare"):
        page.goto(address + path)
        sizes = page.evaluate(
            "[...document.querySelectorAll('svg text')]"
            ".filter(word => word.getBoundingClientRect().width)"
            ".map(word => parseFloat(getComputedStyle(word).fontSize)"
            " * word.ownerSVGElement.getBoundingClientRect().width"
            " / word.ownerSVGElement.viewBox.baseVal.width)"
        )
        assert all(size >= 14.0 for size in sizes), path
    page.close()
