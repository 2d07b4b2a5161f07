"""What the bench asks of a person next, and what it no longer asks once it is done."""

from __future__ import annotations

from dataclasses import replace

import pytest

from dashboard import charts, coming
from dashboard.app import create_app
from dashboard.drawing import Shade
from dashboard.options import Options
from dashboard.wording import Local
from monitor import shelf
from monitor.core.vocabulary import Layer, Mark, Outlook, Piece, StageOutlook, SurfaceRisk

T0 = 1_790_000_000.0
HOUR = 3600.0
COATING = next(one for one in shelf.library() if one.key == "coating_2_1")
LAYER = Layer(1, 1, "Flood", COATING, T0)


def outlook(now_h: float) -> Outlook:
    """A layer that runs exactly as its label says, seen `now_h` after the pour."""
    stages = tuple(
        StageOutlook(
            key,
            time.hours,
            time.basis,
            at_s := T0 + time.hours * HOUR,
            at_s if time.hours <= now_h else None,
            at_s,
            at_s,
            at_s,
            "",
        )
        for key, time in COATING.stages.items()
    )
    risk = SurfaceRisk(0.0, "low")
    return Outlook(
        1, T0 + now_h * HOUR, 0.1, None, now_h, 1.0, False, None, "liquid", risk, None, None, stages
    )


def asked(now_h: float, *, marks: tuple[Mark, ...] = (), piece: Piece | None = None) -> str:
    """The act and its time, as the bench words it."""
    done = coming.acts_done(piece or Piece(1, "Panel", T0, (LAYER,)), LAYER, marks)
    words, when, _ = coming.next_act(outlook(now_h), Local("UTC", T0 + now_h * HOUR), done)
    return f"{words} {when}"


@pytest.mark.parametrize(
    ("now_h", "said"),
    [
        (0.5, "Finish spreading before"),
        (1.0, "Pull the tape from"),
        (2.5, "Pull the tape now, before"),
        (5.0, "Recoat without sanding now, before"),
        (12.0, "Let it harden to sand until about"),
        (30.0, "Let it cure until about"),
        (80.0, "Nothing more to wait for"),
    ],
)
def test_each_hour_has_its_act(now_h, said):
    # The hours are those of the coating resin's own label in the library.
    assert asked(now_h).startswith(said)


def test_the_tape_is_not_asked_for_once_it_is_off():
    pulled = Mark(1, 1, "tape_pulled", T0 + 2.2 * HOUR, "good")
    assert asked(2.5, marks=(pulled,)).startswith("Recoat without sanding from")


def test_recoating_is_not_asked_for_once_the_next_layer_is_on():
    above = replace(LAYER, id=2, poured_at_s=T0 + 4.0 * HOUR)
    pulled = Mark(1, 1, "tape_pulled", T0 + 2.2 * HOUR, "good")
    words = asked(5.0, marks=(pulled,), piece=Piece(1, "Panel", T0, (LAYER, above)))
    assert words.startswith("Keep dust and hands off until about")


def test_a_month_of_cold_nights_is_said_in_one_sentence():
    nights = [
        Shade(
            T0 + n * 24 * HOUR, T0 + (n * 24 + 9 + (n == 3)) * HOUR, "cold", f"too cold night {n}"
        )
        for n in range(20)
    ]
    assert charts._shade_words(nights) == (
        "Too cold 20 times, 7 d in all; the longest: too cold night 3."
    )


def test_a_few_stretches_are_each_said_with_their_months_spelt_right():
    one = Shade(T0, T0 + HOUR, "damp", "too damp 25 Oct 21:00 to 22:00")
    assert charts._shade_words([one]) == "Too damp 25 Oct 21:00 to 22:00."


@pytest.mark.parametrize("number", [2**63, 10**30])
@pytest.mark.parametrize("path", ["/pieces/{}", "/api/v1/layers/{}/outlook"])
def test_a_number_beyond_the_store_is_not_found(store_path, path, number):
    client = create_app(Options(store_path, lambda: T0)).test_client()
    assert client.get(path.format(number)).status_code == 404


def test_between_the_middle_and_the_end_of_the_band_it_is_probably_cured():
    seen = outlook(73.0)
    late = tuple(
        replace(stage, reached_at_s=None, p90_s=T0 + 80 * HOUR)
        if stage.key == "full_cure"
        else stage
        for stage in seen.stages
    )
    words, when, _ = coming.next_act(replace(seen, stages=late), Local("UTC", T0 + 73 * HOUR))
    assert (words, when.partition(" by ")[0]) == ("Probably cured", "very likely")
