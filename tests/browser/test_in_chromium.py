"""The page in real Chromium: phone and desktop, light and dark, with and without scripts."""

from __future__ import annotations

import threading
from contextlib import closing
from pathlib import Path

import numpy as np
import pytest
from axe_playwright_python.sync_playwright import Axe
from conftest import need
from opendata import REPOSITORY
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
PICTURES = REPOSITORY / "artefacts"
KEY = "home/bench/air"
T0 = 1_790_000_000.0
HOUR = 3600.0
PATHS = ["/", "/pour?resin=coating_2_1&area_cm2=500&depth_mm=3", "/pieces", "/pieces/1",
         "/pieces/1/record", "/room", "/alarms", "/resins", "/resins/new", "/settings",
         "/compare?piece=1&piece=2"]  # fmt: skip
RULES = [{"key": "room_too_cold", "priority": "urgent", "consequence": "The cure slows.",
          "act": "Warm the room."}]  # fmt: skip


class House:
    """A store that the test fills, and a page over it with a clock that the test moves."""

    def __init__(self, folder: Path) -> None:
        self.path = folder / "pourside.db"
        self.now_s = T0
        con = connection.open_owner(self.path)
        with writing(con):
            for profile in shelf.library():
                resins.save_resin(con, profile, T0, origin="library")
        con.close()
        options = Options(
            self.path, lambda: self.now_s, zone="Europe/Lisbon", **assembly.page_parts()
        )
        self.port = brokers.free_port()
        self.server = create_server(create_app(options), host="127.0.0.1", port=self.port)
        self.thread = threading.Thread(target=self.server.run, daemon=True)
        self.thread.start()

    def room(self, temps: np.ndarray, start_s: float) -> None:
        rows = [
            Arrival(KEY, start_s + 300 * n, round(float(t) + 0.1 * (n % 2), 1), 48.0 + n % 3)
            for n, t in enumerate(temps)
        ]
        with closing(connection.open_owner(self.path)) as con, writing(con):
            intake_rows.commit(con, "home", "bench", rows, (), {}, rows[-1].taken_at_s)
        self.now_s = rows[-1].taken_at_s

    def pour(self, name: str, poured_s: float) -> None:
        with closing(connection.open_owner(self.path)) as con, writing(con):
            piece = pieces.add_piece(con, name, poured_s)
            coating = resins.resin(con, "coating_2_1")
            layer = pieces.add_layer(
                con, piece, "Flood coat", coating, poured_s, poured_s, depth_mm=3.0,
                area_cm2=500.0,
            )  # fmt: skip
            marks.add_mark(con, layer, "tacky", poured_s + 600)

    def think(self) -> None:
        with closing(connection.open_owner(self.path)) as con:
            Watch(facts={"rules": RULES}).think(con, self.now_s, Works())

    def url(self, path: str) -> str:
        return f"http://127.0.0.1:{self.port}{path}"

    def close(self) -> None:
        self.server.close()
        self.thread.join(5)


@pytest.fixture(scope="module")
def chromium():
    need(CHROMIUM.exists(), "Chromium")
    with sync_playwright() as play:
        browser = play.chromium.launch(
            executable_path=str(CHROMIUM), args=["--no-sandbox", "--disable-dev-shm-usage"]
        )
        yield browser
        browser.close()


@pytest.fixture
def house(tmp_path):
    one = House(tmp_path)
    yield one
    one.close()


@pytest.fixture
def lived_in(house):
    house.room(np.concatenate([np.full(300, 21.0), np.full(30, 16.5)]), T0 - 330 * 300.0)
    house.pour("Harbour panel", T0 - 4 * HOUR)
    house.pour("Second piece with a rather long name for a phone", T0 - 2 * HOUR)
    house.think()
    return house


@pytest.mark.parametrize(
    ("size", "scheme"),
    [((390, 844), "light"), ((390, 844), "dark"), ((1280, 900), "light")],
    ids=["phone", "phone-dark", "desktop"],
)
def test_every_page_fits_and_can_be_used_by_everybody(chromium, lived_in, size, scheme):
    PICTURES.mkdir(exist_ok=True)
    context = chromium.new_context(
        viewport={"width": size[0], "height": size[1]}, color_scheme=scheme
    )
    asked = []
    context.on("request", lambda request: asked.append(request.url))
    page = context.new_page()
    for number, path in enumerate(PATHS):
        page.goto(lived_in.url(path))
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth"), path
        small = page.evaluate(
            "[...document.querySelectorAll('button, summary, nav a, select, .big')]"
            ".filter(e => e.offsetParent && e.getBoundingClientRect().height < 44)"
            ".map(e => e.outerHTML.slice(0, 80))"
        )
        assert small == [], path
        found = Axe().run(page, options={"runOnly": ["wcag2a", "wcag2aa", "wcag21aa", "wcag22aa"]})
        assert found.violations_count == 0, f"{path}: {found.generate_report()}"
        name = f"{size[0]}-{scheme}-{number:02}.png"
        page.screenshot(path=PICTURES / name, full_page=True)
    assert all(url.startswith(lived_in.url("/")) for url in asked)
    context.close()


def test_without_scripts_the_bench_still_says_what_is_next(chromium, lived_in):
    context = chromium.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(lived_in.url("/"))
    assert "before" in page.inner_text(".act >> nth=0")
    page.click("summary >> nth=0")
    assert "Tack-free" in page.inner_text("table >> nth=0")
    context.close()


def test_a_first_start_a_layer_a_mark_and_its_undo(chromium, house):
    """From the bench to a running clock: Pour a layer, Start the clock. Two taps."""
    house.room(np.full(40, 21.0), T0 - 40 * 300.0)
    house.think()
    page = chromium.new_page(viewport={"width": 390, "height": 844})
    page.goto(house.url("/"))
    assert "Nothing is curing" in page.inner_text("main")
    page.click("text=Pour a layer")
    page.click("text=Start the clock >> nth=-1")
    house.think()
    page.reload()
    page.click("button:has-text('Tacky')")
    assert "Tacky" in page.inner_text(".logged")
    page.click("text=Undo")
    assert page.query_selector(".logged") is None
    page.close()


def test_a_cold_room_shows_on_an_open_page_without_a_reload(chromium, house):
    house.room(np.full(60, 21.0), T0 - 60 * 300.0)
    house.pour("Tray", house.now_s)
    house.think()
    page = chromium.new_page()
    page.goto(house.url("/"))
    assert "Room too cold" not in page.inner_text("main")
    page.evaluate("window.unreloaded = true")
    house.room(np.full(24, 15.5), house.now_s + 300)
    house.think()
    page.wait_for_selector("text=Room too cold", timeout=10_000)
    assert page.evaluate("window.unreloaded")
    page.close()


def test_the_page_turns_stale_when_the_board_is_gone(chromium, lived_in):
    page = chromium.new_page()
    page.goto(lived_in.url("/"))
    page.route("**/bench-now", lambda route: route.abort())
    page.wait_for_selector("text=has lost its board", timeout=20_000)
    page.close()


def test_the_bench_is_light(chromium, lived_in):
    page = chromium.new_page()
    sizes = []
    page.on("response", lambda answer: sizes.append(len(answer.body())))
    page.goto(lived_in.url("/"))
    page.wait_for_load_state("load")
    assert sum(sizes) < 150_000
    page.close()


def test_a_record_prints_to_pdf(chromium, lived_in, tmp_path):
    page = chromium.new_page()
    page.goto(lived_in.url("/pieces/1/record"))
    page.pdf(path=tmp_path / "record.pdf", format="A4")
    assert (tmp_path / "record.pdf").read_bytes().startswith(b"%PDF")
    page.close()
