"""What a piece will bear. The thresholds are common practice, no published source; what is
checked against outside is the glass transition itself (DiBenedetto, tested in its own place)
and that a room-cured resin ends some 10 to 30 K above its room (handbook statement, from
memory), far below a hot cup.
"""

from dataclasses import replace

import numpy as np
import pytest

from monitor.core.cure import handling
from monitor.core.cure.outlook import outlook
from monitor.core.cure.resin import with_defaults
from monitor.core.vocabulary import (
    Layer,
    RateDraws,
    ResinProfile,
    RoomPaths,
    RoomSeries,
    StageTime,
)

POURED_S = 1_760_000_000.0
NO_FUTURE = RoomPaths(np.empty(0), np.empty((0, 0)), np.empty((0, 0)))
AS_LABELLED = RateDraws(np.array([0.0]), np.array([55_000.0]))


def resin(kind="pour", **changes):
    hours = {"pour": ("tack_free", 8.0), "adhesive": ("handling_set", 0.5),
             "paint": ("touch_dry", 0.5)}[kind]  # fmt: skip
    stages = with_defaults(kind, {hours[0]: StageTime(hours[1], "label")})
    return replace(ResinProfile(kind, kind, kind, 23.0, stages), **changes)


def layer_in(room_c, days, profile=None, **changes):
    """A layer and its outlook after some days in a steady room."""
    layer = replace(Layer(1, 1, "top coat", profile or resin(), POURED_S), **changes)
    at_s = POURED_S + 600.0 * np.arange(days * 144 + 1)
    room = RoomSeries(at_s, np.full(at_s.size, room_c), np.full(at_s.size, 50.0))
    return layer, outlook(layer, room, NO_FUTURE, AS_LABELLED, (), float(at_s[-1]))


def judged(*layers, room_c=21.0, **rest):
    return {verdict.use: verdict for verdict in handling.verdicts(layers, room_c, **rest)}


def test_a_fresh_coat_may_not_be_handled_and_says_when_it_may():
    told = judged(layer_in(23.0, 0.25))

    assert not told["handled"].allowed
    assert "sandable is still to come" in told["handled"].missing[0].words


def test_a_coat_past_sanding_may_be_handled_but_not_yet_wrapped():
    told = judged(layer_in(23.0, 2))

    assert told["handled"].allowed
    assert not told["wrapped"].allowed
    assert told["wrapped"].missing[0].key == "stage"
    # Full cure by default is nine times tack-free: 72 h from the pour in the label's room.
    assert told["wrapped"].likely_from_s == pytest.approx(POURED_S + 72 * 3600, abs=3600)


def test_a_fully_cured_coat_may_be_wrapped_with_a_word_about_the_sun():
    told = judged(layer_in(23.0, 6))

    assert told["wrapped"].allowed
    assert told["wrapped"].missing == ()
    assert any("parcel in the sun" in reason for reason in told["wrapped"].reasons)


def test_a_room_cured_coat_never_takes_a_hot_cup_and_it_says_so_plainly():
    layer, seen = layer_in(23.0, 28)
    told = judged((layer, seen))

    # Glass transition 10 to 30 K above the room after a long room cure (from memory).
    assert 33.0 <= seen.glass_transition_c <= 53.0
    assert not told["hot_cup"].allowed
    assert told["hot_cup"].words == "May not take a hot cup, and will not by waiting."
    assert told["hot_cup"].missing[0].never
    assert "label" in told["hot_cup"].caution
    assert "food contact" in told["hot_cup"].caution


def test_a_heat_resistant_resin_takes_a_hot_cup_only_once_it_was_kept_warm():
    tough = resin(tg_inf_c=150.0, warm_limit_c=78.0)
    in_room, warmed = layer_in(23.0, 28, tough), layer_in(78.0, 5, tough)

    assert not judged(in_room)["hot_cup"].allowed
    assert not judged(in_room)["hot_cup"].missing[0].never
    assert "Warmth brings it" in judged(in_room)["hot_cup"].missing[0].words
    assert judged(warmed)["hot_cup"].allowed


def test_a_resin_whose_warm_limit_is_too_low_says_that_warmth_will_not_do():
    told = judged(layer_in(23.0, 28, resin(tg_inf_c=130.0, warm_limit_c=40.0)))

    assert told["hot_cup"].missing[0].never
    assert "warmest it allows" in told["hot_cup"].missing[0].words


def test_a_cooler_cup_asks_for_less():
    tough = layer_in(60.0, 5, resin(tg_inf_c=110.0, warm_limit_c=70.0))

    assert judged(tough, cup_c=60.0)["hot_cup"].allowed
    assert not judged(tough, cup_c=100.0)["hot_cup"].allowed


def test_a_cold_stalled_coat_may_be_touched_but_not_wrapped_and_names_the_warmth():
    told = judged(layer_in(8.0, 14), room_c=8.0)

    assert told["handled"].allowed
    assert not told["wrapped"].allowed
    assert "finish it" in told["wrapped"].missing[0].words


def test_the_weakest_layer_decides():
    old, fresh = layer_in(23.0, 6), layer_in(23.0, 0.25)

    assert judged(old)["wrapped"].allowed
    told = judged(old, fresh)["wrapped"]
    assert not told.allowed
    assert len(told.reasons) >= 1


def test_the_layer_that_keeps_it_waiting_longest_is_named_first_with_its_time():
    base, fresh = halfway("sandable"), layer_in(23.0, 0.25, name="flood coat")

    told = judged(base, fresh)["handled"]
    sandable = next(stage for stage in fresh[1].stages if stage.key == "sandable")
    assert told.words == "May not be handled with bare hands yet: wear gloves."
    assert told.missing[0].words == (
        f"flood coat: sandable is still to come, very likely by ⟦{sandable.p90_s:.0f}⟧."
    )
    assert "top coat: sandable probably since" in told.missing[-1].words


def test_a_softening_temperature_is_the_same_wherever_it_is_told():
    layer, seen = layer_in(23.0, 28)
    seen = replace(seen, glass_transition_c=44.8)
    told = judged((layer, seen))

    assert "softens from about 44 °C" in told["hot_cup"].missing[0].words
    assert "softens from about 44 °C" in told["handled"].reasons[0]


def test_paint_or_glue_alone_is_never_said_to_bear_heat():
    for kind in ("paint", "adhesive"):
        told = judged(layer_in(23.0, 6, resin(kind)))

        assert told["handled"].allowed, kind
        assert not told["hot_cup"].allowed, kind


def test_too_little_hardener_lowers_what_it_can_ever_bear():
    right, _ = layer_in(23.0, 1)
    short, _ = layer_in(23.0, 1, hardener_ratio=0.85)

    ceiling = handling.glass_transition_ceiling_c
    assert ceiling(right) == pytest.approx(91.0)  # the profile's own
    assert ceiling(short) < 70.0
    assert ceiling(layer_in(23.0, 1, resin("paint"))[0]) is None


def test_what_makes_no_sense_is_refused_in_words():
    with pytest.raises(ValueError, match="No layer to judge"):
        handling.verdicts((), 21.0)
    with pytest.raises(ValueError, match="cup_c is 400"):
        handling.verdicts([layer_in(23.0, 1)], 21.0, 400.0)
    with pytest.raises(ValueError, match="room_c is nan"):
        handling.verdicts([layer_in(23.0, 1)], float("nan"))


# Three speeds of the resin, far apart: most of the wait lies between likely and certain.
UNSURE = RateDraws(np.linspace(-0.5, 0.5, 11), np.full(11, 55_000.0))


def halfway(key, hours_late=1.0):
    """A coat that most, but not nine in ten, futures have past a stage."""
    early, profile = 1.0, resin()
    p50_s = next(each.p50_s for each in layer_in(23.0, early, profile)[1].stages if each.key == key)
    now_s = p50_s + hours_late * 3600.0
    layer = Layer(1, 1, "top coat", profile, POURED_S)
    at_s = np.arange(POURED_S, now_s, 600.0)
    room = RoomSeries(at_s, np.full(at_s.size, 23.0), np.full(at_s.size, 50.0))
    return layer, outlook(layer, room, NO_FUTURE, UNSURE, (), now_s)


def test_what_is_probably_there_is_said_to_be_probable_and_not_to_come():
    layer, seen = halfway("full_cure")
    full = seen.stages[-1]
    assert full.p50_s < seen.as_of_s < full.p90_s

    told = judged((layer, seen))["wrapped"]

    assert not told.allowed
    assert told.probable
    assert told.likely_from_s is None
    assert told.words == "May probably be wrapped: try a nail in a hidden place first."
    assert told.missing[0].words == (
        f"top coat: full cure probably since ⟦{full.p50_s:.0f}⟧, very likely by ⟦{full.p90_s:.0f}⟧."
    )


def test_a_coat_that_is_not_hard_is_told_no_softening_temperature():
    told = judged(layer_in(23.0, 0.25))

    for use in handling.USES:
        said = " ".join(lack.words for lack in told[use].missing)
        assert "not hard yet" in said, use
        assert "softens" not in said, use
        assert "glass transition" not in said, use


def test_a_finished_piece_is_told_in_the_past():
    fresh = judged(layer_in(23.0, 2), over=True)
    old = judged(layer_in(23.0, 28), over=True)

    assert fresh["wrapped"].words == "Could not be wrapped yet."
    assert "full cure was still to come" in fresh["wrapped"].missing[0].words
    assert old["wrapped"].words == "Could be wrapped."
    assert old["hot_cup"].words == "Could not take a hot cup, and will not by waiting."
    assert "softened from about" in old["hot_cup"].missing[0].words
