"""What a layer's outlook says beside its times, in a maker's words."""

from __future__ import annotations

from dashboard import wording
from dashboard.units import Units
from monitor.answers.preview import smokes
from monitor.core.vocabulary import Layer, Outlook

HAND_C = 35.0  # warmer than this a gloved hand feels it


def facts_of(layer: Layer, outlook: Outlook, shown: Units) -> tuple[str, ...]:
    """How far the cure is, how fast it goes, and its own heat, each where it still matters."""
    done = layer.ended_at_s is not None or outlook.state == "cured"
    if layer.resin.kind == "paint":
        return () if done else (wording.pace(outlook.rate_now, "dries"),)
    cured = f"{outlook.degree_of_cure:.0%} reacted"
    if outlook.state == "cured":
        full = next((stage for stage in outlook.stages if stage.key == "full_cure"), None)
        sure = full is not None and full.reached_at_s is not None
        cured += f", {'which is' if sure else 'probably'} full cure at room temperature"
    found = [cured]
    over = layer.ended_at_s is not None
    if not done:
        found.append(wording.pace(outlook.rate_now))
    # What would be left in the cup is over once it gels; heat is worth a word while it comes.
    liquid = outlook.state == "liquid"
    cup_h = outlook.cup_working_h
    if cup_h is not None and layer.resin.kind == "pour" and liquid and not over:
        # Where the table gives the piece no longer, the cup is no news.
        ends_s = next((s.p50_s for s in outlook.stages if s.key == "working_time_end"), None)
        if ends_s is None or ends_s > layer.poured_at_s + cup_h * 3600.0:
            found.append(f"in the cup it would keep {wording.hours(cup_h)}")
    heating = liquid or (outlook.state == "gelling" and (outlook.peak_c or 0.0) > HAND_C)
    if outlook.peak_c is not None and (over or heating or smokes(outlook.peak_c)):
        found.append(peak_words(outlook.peak_c, shown, over))
    return tuple(found)


def peak_words(peak_c: float, shown: Units, over: bool = False) -> str:
    """How hot a pour makes itself, or made itself where it is over."""
    if smokes(peak_c):
        verb, end = ("heated", "smoked and cracked") if over else ("heats", "smokes and cracks")
        return f"{verb} itself past {shown.temperature(peak_c, 0)}: it {end}"
    return f"{'warmed' if over else 'warms'} itself to {shown.temperature(peak_c, 0)} at most"
