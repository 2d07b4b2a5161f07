"""A number and its unit stay together on the page, and nothing that is sent back is touched."""

from __future__ import annotations

import pytest

from dashboard.joined import joined

NB = "\u00a0"


@pytest.mark.parametrize(
    ("page", "read"),
    [
        ("<p>21.3 °C, 48 %RH</p>", f"<p>21.3{NB}°C, 48{NB}%RH</p>"),
        ("<td>3 h 30 min</td>", f"<td>3{NB}h{NB}30{NB}min</td>"),
        ("3 d 19 h, 0.03 fl oz", f"3{NB}d{NB}19{NB}h, 0.03{NB}fl{NB}oz"),
        ("900 cm² of 6 mm.", f"900{NB}cm² of 6{NB}mm."),
        ("0.12 in; 18 in all", f"0.12{NB}in; 18 in all"),
        ("4 hours, 3 dots, 2 minutes", "4 hours, 3 dots, 2 minutes"),
        ("25 Nov 14:10 before 03:11", "25 Nov 14:10 before 03:11"),
    ],
)
def test_a_number_keeps_its_unit(page, read):
    assert joined(page) == read


@pytest.mark.parametrize(
    "page",
    [
        '<input value="3 mm" placeholder="45 min">',
        "<textarea>3 mm</textarea>",
        "<option>Resin 3 mm</option>",
        "<code>sleep 3 s</code>",
        '<svg aria-label="3 h"><text>3 h</text></svg>',
    ],
)
def test_what_is_typed_copied_or_drawn_stays_as_it_is(page):
    assert joined(page) == page
