"""What only an open page does: it follows the room, says when its board is gone, stays light."""

from __future__ import annotations

import numpy as np
import pytest
from house import T0

pytestmark = pytest.mark.browser


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


def test_the_page_turns_stale_when_the_board_is_gone_and_recovers(chromium, lived_in):
    page = chromium.new_page()
    # Its timers are the test's: three missed refreshes need no nine seconds.
    page.clock.install()
    page.goto(lived_in.url("/"))
    page.route("**/*-now", lambda route: route.abort())
    gone = page.get_by_text("has lost its board")
    for _ in range(4):
        with page.expect_event("requestfailed", lambda asked: asked.url.endswith("/bench-now")):
            page.clock.run_for(3000)
    gone.wait_for(timeout=5000)
    page.unroute("**/*-now")
    with page.expect_response("**/bench-now"):
        page.clock.run_for(3000)
    gone.wait_for(state="hidden", timeout=5000)
    page.close()


def test_the_bench_is_light(chromium, lived_in):
    page = chromium.new_page()
    sizes = []
    page.on("response", lambda answer: sizes.append(len(answer.body())))
    page.goto(lived_in.url("/"))
    page.evaluate("window.scrollTo(0, document.body.scrollHeight)")
    page.wait_for_load_state("networkidle")
    assert sum(sizes) < 150_000
    page.close()
