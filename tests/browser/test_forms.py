"""What forms ask for follows what was chosen, in real Chromium, and without scripts too."""

from __future__ import annotations

import numpy as np
import pytest
from house import T0
from looking import WCAG, faults_of, keep_picture, violations
from playwright.sync_api import expect

pytestmark = pytest.mark.browser

PHONE, TABLET = {"width": 390, "height": 844}, {"width": 820, "height": 1180}


@pytest.fixture
def page(chromium, house):
    house.room(np.full(60, 21.0), T0 - 60 * 300.0)
    house.pour("Harbour panel", T0 - 3600.0)
    house.think()
    one = chromium.new_page(viewport=PHONE)
    yield one
    one.close()


def test_the_name_of_a_new_piece_is_asked_for_only_of_a_new_one(page, house):
    page.goto(house.url("/pour"))
    name = page.get_by_label("Name of the new piece")
    name.fill("My new tray")
    page.get_by_role("combobox", name="Piece", exact=True).select_option("Harbour panel")
    expect(name).to_be_hidden()
    # What stood in the field that is gone is not sent.
    page.get_by_role("button", name="Start the clock").click()
    page.wait_for_url(house.url("/"))
    house.think()
    page.goto(house.url("/pieces"))
    expect(page.get_by_role("link", name="Harbour panel")).to_be_visible()
    expect(page.get_by_text("My new tray")).to_have_count(0)


def test_a_pour_that_should_not_be_made_is_started_only_anyway(page, house):
    page.goto(house.url("/pour?resin=coating_2_1&area_cm2=450&depth_mm=3"))
    page.get_by_label("Depth, mm").fill("30")
    anyway = page.get_by_role("button", name="Start anyway")
    expect(anyway).not_to_have_class("big")
    expect(page.get_by_text("for one of the")).to_be_visible()
    page.get_by_label("Depth, mm").fill("3")
    expect(page.get_by_role("button", name="Start the clock")).to_have_class("big")


def test_the_slider_says_now_or_in_how_many_hours(page, house):
    page.goto(house.url("/pour"))
    told = page.locator("#later")
    expect(told).to_have_text("now")
    page.locator("[name=later_h]").fill("5")
    expect(told).to_have_text("in 5 h")


@pytest.mark.parametrize("scripts", [True, False])
def test_a_shape_asks_for_its_own_sizes(chromium, house, scripts):
    context = chromium.new_context(java_script_enabled=scripts, viewport=PHONE)
    page = context.new_page()
    page.goto(house.url("/amounts"))
    for form, asked, gone in (
        ("rectangle", ["Length, cm", "Width, cm"], ["Diameter, cm"]),
        ("circle", ["Diameter, cm"], ["Width, cm", "Length, cm"]),
        ("ring", ["Outer diameter, cm", "Inner diameter, cm"], ["Length, cm"]),
    ):
        page.get_by_label("Form").select_option(form)
        for words in asked:
            expect(page.get_by_role("textbox", name=words, exact=True)).to_be_visible()
        for words in gone:
            expect(page.get_by_role("textbox", name=words, exact=True)).to_have_count(0)
    context.close()


@pytest.mark.parametrize("scripts", [True, False])
def test_a_step_of_a_recipe_asks_for_what_it_needs(chromium, house, scripts):
    context = chromium.new_context(java_script_enabled=scripts, viewport=PHONE)
    page = context.new_page()
    page.goto(house.url("/recipes/new"))
    done = page.get_by_label("What is done")
    done.select_option("sand")
    expect(page.get_by_label("Depth, mm")).to_be_hidden()
    expect(page.get_by_label("then take it out of the mould")).to_be_hidden()
    done.select_option("casting")
    expect(page.get_by_label("Depth, mm")).to_be_visible()
    minutes = page.locator("[name=demould_min1]")
    expect(minutes).to_be_hidden()
    page.get_by_label("then take it out of the mould").check()
    expect(minutes).to_be_visible()
    context.close()


def test_how_the_tape_came_off_is_asked_only_of_tape(page, house):
    page.goto(house.url("/marks/1/correct"))
    how = page.get_by_label("How did the tape come off?")
    expect(how).to_be_hidden()
    page.get_by_label("What was seen").select_option("tape_pulled")
    expect(how).to_be_visible()


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("size", [PHONE, TABLET], ids=["phone", "tablet"])
def test_a_refused_form_is_whole_and_names_its_faults(chromium, house, size, scheme):
    house.pour("Harbour panel", T0 - 3600.0)
    context = chromium.new_context(viewport=size, color_scheme=scheme, bypass_csp=True)
    page = context.new_page()
    page.goto(house.url("/pour"))
    # As it is without the script, which would hide the name of a piece that is there.
    page.route("**/pour.js*", lambda route: route.abort())
    page.reload()
    page.get_by_label("Depth, mm").fill("deep")
    page.get_by_role("combobox", name="Piece", exact=True).select_option("Harbour panel")
    page.get_by_label("Name of the new piece").fill("My new tray")
    page.get_by_role("button", name="Start the clock").click()
    expect(page.get_by_text("The clock was not started")).to_be_visible()
    depth = page.get_by_label("Depth, mm")
    expect(depth).to_have_value("deep")
    expect(depth).to_have_accessible_description("Depth is 'deep'; expected a number in mm")
    expect(page.get_by_label("Name of the new piece")).to_have_value("My new tray")
    keep_picture(page, f"refused-{size['width']}-{scheme}")
    assert faults_of(page) == {}
    assert violations(page, WCAG) == []
    context.close()
