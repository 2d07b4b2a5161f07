"""Notices as the browser's own, in real Chromium; only the system's pop-up is a stand-in."""

from __future__ import annotations

import threading
from contextlib import closing
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from conftest import need
from house import stop_serving
from playwright.sync_api import sync_playwright
from waitress.server import create_server

from dashboard.app import create_app
from dashboard.options import Options
from monitor import brokers
from monitor.store import connection, shown, status, trials
from monitor.store.connection import writing
from monitor.store.shown import OnShow

pytestmark = pytest.mark.browser

CHROMIUM = Path("/usr/bin/chromium")
NOW = 1_790_000_000.0
LAN_NAME = "bench.lan"
WAYS = [
    {"name": "mqtt", "kind": "mqtt", "goes_to": "topic pourside/home/notices", "least": "note"},
    {
        "name": "a-rather-long-name-for-a-phone",
        "kind": "webhook",
        "goes_to": "https://….a-host-with-a-long-name.example/…",
        "least": "soon",
    },
]
# The pop-up leaves the page and cannot be seen from a test; everything up to it is real.
STAND_IN = """
window.made = [];
window.Notification = class {
  static permission = localStorage.getItem("granted") || "default";
  static async requestPermission() {
    localStorage.setItem("granted", "granted");
    return (this.permission = "granted");
  }
  constructor(title, options) { window.made.push([title, options.body, options.tag]); }
  close() {}
};
"""


class House:
    def __init__(self, path):
        self.path = path
        self.now_s = NOW
        self.put(lambda con: status.beat(con, "monitor", NOW, {"channels": WAYS}))
        self.port = brokers.free_port()
        app = create_app(Options(path, lambda: self.now_s))
        self.server = create_server(app, host="127.0.0.1", port=self.port)
        self.thread = threading.Thread(target=self.server.run, daemon=True)
        self.thread.start()

    def put(self, act):
        with closing(connection.open_owner(self.path)) as con, writing(con):
            act(con)

    def notice(self, name, title="Room too cold"):
        on_show = OnShow(name, self.now_s, "urgent", title, "14 °C. Warm the room.")
        self.put(lambda con: shown.show(con, on_show))

    def url(self, path, host="127.0.0.1"):
        return f"http://{host}:{self.port}{path}"

    def close(self):
        stop_serving(self.server, self.thread)


@pytest.fixture
def house(store_path):
    one = House(store_path)
    yield one
    one.close()


@pytest.fixture(scope="module")
def chromium():
    need(CHROMIUM.exists(), "Chromium")
    with sync_playwright() as play:
        browser = play.chromium.launch(
            executable_path=str(CHROMIUM),
            args=[
                "--no-sandbox",
                "--disable-dev-shm-usage",
                f"--host-resolver-rules=MAP {LAN_NAME} 127.0.0.1",
            ],
        )
        yield browser
        browser.close()


@pytest.fixture
def page(chromium):
    context = chromium.new_context()
    context.add_init_script(STAND_IN)
    one = context.new_page()
    one.clock.install()
    yield one
    context.close()


def look_again(page):
    """Let the page's own clock pass to its next look at the board."""
    with page.expect_response("**/notices-now"):
        page.clock.fast_forward(4100)


def made(page):
    return [title for title, _, _ in page.evaluate("window.made")]


def allow(page, house):
    page.goto(house.url("/alarms"))
    with page.expect_response("**/notices-now"):
        page.click("text=Show notices in this browser")
    page.wait_for_function("() => document.getElementById('browser-allow').hidden")


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_alarms_page_fits_a_phone_and_can_be_used_by_everybody(chromium, house, scheme):
    house.put(lambda con: trials.ask(con, "mqtt", NOW))
    house.put(lambda con: trials.answer(con, trials.asked(con)[0], NOW, "the broker is away"))
    context = chromium.new_context(viewport={"width": 390, "height": 844}, color_scheme=scheme)
    page = context.new_page()
    page.goto(house.url("/alarms"))

    assert "failed: the broker is away" in page.inner_text(".ways")
    assert page.evaluate("() => document.documentElement.scrollWidth <= innerWidth")
    found = Axe().run(page, options={"runOnly": ["wcag2a", "wcag2aa", "wcag21aa", "wcag22aa"]})
    assert found.violations_count == 0, found.generate_report()
    context.close()


def test_a_test_asked_for_on_the_page_is_answered_without_a_reload(house, page):
    page.goto(house.url("/alarms"))
    page.click("text=Send a test >> nth=1")
    page.wait_for_selector("text=waiting for the monitor")
    (wish,) = answered(house)

    page.clock.fast_forward(3100)

    page.wait_for_selector("text=The test was sent at")
    assert wish.channel == "a-rather-long-name-for-a-phone"


def answered(house):
    """Answer every wish as the monitor would; what they were."""
    with closing(connection.open_owner(house.path)) as con, writing(con):
        wishes = trials.asked(con)
        for wish in wishes:
            trials.answer(con, wish, NOW, "")
    return wishes


def test_after_a_tap_each_new_notice_is_shown_once_on_any_page(house, page):
    house.notice("old", "Disk low")
    allow(page, house)
    assert "are shown here" in page.inner_text("#browser-state")

    house.notice("new")
    look_again(page)
    page.wait_for_function("() => window.made.length === 1")
    look_again(page)
    with page.expect_response("**/notices-now"):
        page.goto(house.url("/resins"))
    house.notice("third", "Tack free")
    look_again(page)
    page.wait_for_function("() => window.made.length === 1")

    # What was on show before the tap is no news; the new page began with an empty list.
    assert made(page) == ["Tack free"]
    assert page.evaluate("window.made[0]")[1:] == ["14 °C. Warm the room.", "third"]


def test_nothing_is_shown_before_somebody_allows_it(house, page):
    house.notice("one")
    with page.expect_response("**/notices-now"):
        page.goto(house.url("/alarms"))
    look_again(page)

    assert made(page) == []
    assert page.is_visible("#browser-allow")


def test_over_plain_http_on_the_network_the_page_says_why_not_and_what_else(house, page):
    page.goto(house.url("/alarms", LAN_NAME))

    words = page.inner_text("#browser-state")

    assert page.evaluate("window.isSecureContext") is False
    assert "plain http" in words
    assert "one of the other ways" in words
    assert not page.is_visible("#browser-allow")


def test_a_browser_that_shows_nothing_from_a_page_says_so(house, page):
    page.add_init_script(
        "window.Notification = class { static permission = 'granted';"
        " constructor() { throw new TypeError('Illegal constructor'); } };"
    )
    house.notice("one")
    page.goto(house.url("/alarms"))
    page.wait_for_selector("text=from installed programs only")


def test_any_page_says_when_the_monitor_has_stopped_and_when_it_is_back(house, page):
    page.goto(house.url("/resins"))
    house.now_s = NOW + 7200
    look_again(page)
    page.wait_for_selector("text=The monitor has stopped")

    house.put(lambda con: status.beat(con, "monitor", house.now_s, {}))
    look_again(page)

    page.wait_for_selector("text=The monitor has stopped", state="detached")


def test_any_page_turns_stale_when_the_board_is_gone_and_fresh_when_it_is_back(house, page):
    page.goto(house.url("/resins"))
    page.route("**/notices-now", lambda route: route.abort())
    for _ in range(4):
        with page.expect_event("requestfailed"):
            page.clock.fast_forward(4100)
    page.wait_for_selector("text=has lost its board")
    assert page.evaluate("document.getElementById('main').classList.contains('stale')")

    page.unroute("**/notices-now")
    look_again(page)
    look_again(page)

    page.wait_for_selector("text=has lost its board", state="detached")
    assert not page.evaluate("document.getElementById('main').classList.contains('stale')")
