"""A piece from the first start to its export, walked in real Chromium as a person would.

Every tap is counted and told; every stop is looked at for clipped text, overlap and small
targets, and kept as a picture among the artefacts.
"""

from __future__ import annotations

import json
import re
import zipfile
from dataclasses import dataclass, field

import numpy as np
import pytest
from house import HOUR, T0, photo
from looking import PICTURES, faults_of, keep_picture
from PIL import Image
from playwright.sync_api import expect

pytestmark = pytest.mark.browser

WALKS = {
    "phone-light": ((390, 844), "light"),
    "tablet-dark": ((820, 1180), "dark"),
    "desktop-light": ((1280, 900), "light"),
}
MOST_TAPS = 5


@dataclass
class Walker:
    """A person at the page: taps are counted, stops are looked at."""

    page: object
    house: object
    name: str
    taps: list[str] = field(default_factory=list)
    stops: int = 0

    def tap(self, words, role="button", exact=False, nth=0):
        """Tap what carries these words."""
        self.page.get_by_role(role, name=words, exact=exact).nth(nth).click()
        self.taps.append(words)

    def go(self, path):
        self.page.goto(self.house.url(path))

    def look(self, stop):
        """Keep a picture and say what is wrong with the page."""
        self.stops += 1
        keep_picture(self.page, f"walk-{self.name}-{self.stops:02}-{stop}")
        assert faults_of(self.page) == {}, f"{self.name}: {stop}"

    def says(self, words):
        self.page.get_by_text(words).first.wait_for(timeout=5000)


@pytest.fixture(params=WALKS)
def walker(request, chromium, house):
    (width, height), scheme = WALKS[request.param]
    context = chromium.new_context(
        viewport={"width": width, "height": height}, color_scheme=scheme, accept_downloads=True
    )
    page = context.new_page()
    page.set_default_timeout(10_000)
    yield Walker(page, house, request.param)
    context.close()


def test_a_piece_from_the_first_start_to_its_export(walker, tmp_path):
    first_start(walker)
    start_a_layer(walker)
    log_marks(walker)
    be_warned_live(walker)
    fix_a_mistake(walker)
    finish_and_print(walker, tmp_path)
    compare(walker)
    export_and_delete(walker, tmp_path)


def first_start(walker):
    """Nothing yet: every empty page says what comes next; then the room is heard."""
    walker.go("/")
    assert walker.page.get_by_role("link", name="Pour a layer").count() >= 1
    walker.look("first-start")
    walker.house.room(np.full(60, 21.0), T0 - 60 * 300.0)
    walker.house.think()
    walker.go("/")
    walker.says("21.1 °C")
    walker.look("room-heard")


def start_a_layer(walker):
    """From the bench to a running clock, by the fewest taps."""
    walker.taps.clear()
    walker.tap("Pour a layer", "link")
    walker.look("before-you-pour")
    walker.tap("Start the clock", exact=True)
    walker.page.wait_for_url(walker.house.url("/"))
    print(f"taps from the bench to a running clock: {len(walker.taps)}: {walker.taps}")
    assert len(walker.taps) <= MOST_TAPS
    walker.house.think()
    walker.go("/")
    assert re.search(r"\d\d:\d\d", walker.page.inner_text(".act"))
    walker.look("clock-runs")


def log_marks(walker):
    """One tap a mark; one with a photo; one taken back with a tap."""
    walker.house.room(np.full(24, 21.0), walker.house.now_s + 300)
    walker.house.think()
    walker.go("/")
    walker.taps.clear()
    walker.tap("Pulls strings")
    assert walker.taps == ["Pulls strings"]
    walker.says("Pulls strings,")
    walker.tap("Tacky", exact=True)
    walker.says("Tacky,")
    shot = {"name": "IMG_1.jpg", "mimeType": "image/jpeg", "buffer": photo()}
    walker.tap("Edit, add a photo", "link", nth=1)
    walker.page.locator("input[type=file]").first.set_input_files(shot)
    walker.page.locator("form[action$='/photo'] button").click()
    walker.go("/")
    thumb = walker.page.locator(".logged img").first
    thumb.scroll_into_view_if_needed()
    expect(thumb).to_have_js_property("naturalWidth", 320)
    walker.tap("Hard", exact=True)
    walker.says("Hard,")
    walker.look("marks-logged")
    walker.taps.clear()
    walker.tap("Delete", nth=2)
    assert walker.taps == ["Delete"]
    assert "Hard," not in walker.page.inner_text(".logged")
    assert walker.page.locator(".logged > li").count() == 2


def be_warned_live(walker):
    """The room turns cold: the open page says so by itself."""
    walker.page.evaluate("window.unreloaded = true")
    walker.house.room(np.full(24, 15.5), walker.house.now_s + 300)
    walker.house.think()
    walker.says("Room too cold")
    assert walker.page.evaluate("window.unreloaded")
    walker.look("cold-warning")


def fix_a_mistake(walker):
    """A wrong depth and a wrong mark: put right, told in the history, undone with a tap."""
    page = walker.page
    page.locator(".which a").first.click()
    walker.look("piece")
    page.get_by_text("Correct or end this layer").click()
    walker.tap("Correct what was entered", "link")
    page.get_by_label(re.compile("^Depth")).fill("4")
    walker.look("correct-a-layer")
    walker.tap("Save the correction")
    walker.says("became 4")
    page.get_by_role("link", name="Edit, add a photo").first.click()
    page.get_by_label("What was seen").select_option("still_liquid")
    walker.look("correct-a-mark")
    walker.tap("Save the correction")
    walker.says("mark: Pulls strings became Still liquid")
    walker.look("corrected")
    walker.taps.clear()
    page.locator(".journal li", has_text="became Still liquid").get_by_role("button").click()
    walker.says("mark: Still liquid became Pulls strings")


def finish_and_print(walker, tmp_path):
    """Finished: its record fits paper."""
    page = walker.page
    page.get_by_text("Correct, finish or delete this piece").click()
    page.locator("form[action$='/end'] input[name=outcome]").last.fill("Clear, one dent")
    walker.tap("Finish this piece")
    walker.says("Clear, one dent")
    walker.look("finished")
    walker.tap("Record to print", "link")
    walker.look("record")
    assert page.locator("img[src^='/photos/']").count() == 1
    # Paper knows no screen: printed once.
    for paper in ("A4", "Letter") if walker.name == "desktop-light" else ():
        made = tmp_path / f"record-{paper}.pdf"
        page.pdf(path=made, format=paper)
        count = len(re.findall(rb"/Type\s*/Page\b", made.read_bytes()))
        print(f"the record of one layer with a photo, on {paper}: {count} pages")
        assert count == 1
        (PICTURES / f"walk-record-{paper}.pdf").write_bytes(made.read_bytes())


def compare(walker):
    """Two cures beside each other."""
    walker.house.pour("Second tray", walker.house.now_s - 2 * HOUR)
    walker.house.think()
    walker.go("/compare?piece=1&piece=2")
    assert walker.page.get_by_text("Second tray").count() >= 1
    walker.look("compared")


def export_and_delete(walker, tmp_path):
    """A copy first, then gone for good, once its name was typed."""
    page = walker.page
    walker.go("/pieces/1")
    page.get_by_text("Correct, reopen, put away or delete this piece").click()
    page.locator("a[href='/pieces/1/delete']").click()
    walker.look("delete-or-keep-a-copy")
    name = page.inner_text("h1").removeprefix("Delete ").removesuffix("?")
    kept = []
    for words in ("All of it, JSON", "Tables, CSV"):
        with page.expect_download() as download:
            page.get_by_role("link", name=words).click()
        kept.append(kept_as(download.value, tmp_path))
    whole = json.loads(kept[0].read_text())
    assert whole["piece"]["name"] == name
    assert [len(mark["photos"]) for mark in whole["layers"][0]["marks"]] == [0, 1]
    with zipfile.ZipFile(kept[1]) as book:
        assert "marks.csv" in book.namelist()
        [picture] = [one for one in book.namelist() if one.endswith(".jpg")]
        with book.open(picture) as file:
            assert Image.open(file).size == (1200, 900)
    page.get_by_label(re.compile("Type its name")).fill(name)
    walker.tap("Delete for good")
    page.wait_for_url("**/pieces")
    assert page.get_by_role("link", name=name, exact=True).count() == 0
    walker.look("deleted")


def kept_as(download, folder):
    """A download kept under its own name."""
    target = folder / download.suggested_filename
    download.save_as(target)
    return target


def test_a_layer_is_started_and_marked_by_keyboard_alone(chromium, house):
    """Tab and Enter from the first link to a logged mark, with the focus in sight all the way."""
    house.room(np.full(60, 21.0), T0 - 60 * 300.0)
    house.think()
    page = chromium.new_page(viewport={"width": 1280, "height": 900})
    page.goto(house.url("/"))
    assert press_until(page, "Skip to the content") == 1
    press_until(page, "Pour a layer")
    page.keyboard.press("Enter")
    page.wait_for_url("**/pour*")
    press_until(page, "Start the clock", "BUTTON")
    page.keyboard.press("Enter")
    page.wait_for_url(house.url("/"))
    house.think()
    page.reload()
    press_until(page, "Tacky")
    page.keyboard.press("Enter")
    page.wait_for_selector(".logged")
    press_until(page, "Delete")
    page.keyboard.press("Enter")
    page.wait_for_selector(".logged", state="detached")
    page.close()


def press_until(page, words, tag=None, most=80):
    """Tab until the focus is on these words; how many presses it took."""
    for count in range(1, most + 1):
        page.keyboard.press("Tab")
        focused = page.evaluate(
            """() => { const e = document.activeElement, s = getComputedStyle(e);
            const box = e.getBoundingClientRect();
            const ringed = s.outlineStyle !== 'none' && parseFloat(s.outlineWidth) >= 2;
            return [e.textContent.trim() || e.outerHTML.slice(0, 120), e.tagName, ringed,
              box.bottom > 0 && box.top < innerHeight]; }"""
        )
        assert focused[2], f"no focus shown on {focused[:2]}"
        assert focused[3], f"focus out of sight on {focused[:2]}"
        if focused[0] == words and tag in (None, focused[1]):
            return count
    raise AssertionError(f"{most} presses of Tab did not reach {words!r}")


def test_without_scripts_the_bench_says_the_next_acts_and_their_times(chromium, house):
    house.live_in()
    context = chromium.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(house.url("/"))
    for act in page.locator(".act").all():
        assert re.search(r"\d\d:\d\d", act.inner_text())
    assert page.locator(".act").count() >= 2
    for stage in page.locator(".coming li").all():
        assert re.search(r"\d\d:\d\d", stage.inner_text())
    assert page.locator(".coming li").count() >= 4
    page.click("summary:has-text('All times') >> nth=0")
    assert "Tack-free" in page.inner_text("table >> nth=0")
    page.click("button:has-text('Tacky') >> nth=0")
    assert "Tacky" in page.inner_text(".logged >> nth=0")
    keep_picture(page, "without-scripts")
    context.close()
