"""What a piece is like to the hand just now, and the two states that makers confuse.

Still soft: not there yet. Hard but under-cured: a glass in this cold room, soft in a warm
one. The glass transition tells them apart.
"""

from __future__ import annotations

from monitor.core.vocabulary import CureState, Kind, Remedy

GLASSY_K = 10.0  # a glass transition this far above the room: hard and dry under a nail
COLD_K = 2.0  # a room this far below the label's explains a soft coat by itself


def state_of(
    kind: Kind,
    age_h: float,
    working_time_h: float,
    alpha: float,
    tg_c: float,
    resin_c: float,
    gel: float | None,
    tack_free_conversion: float,
    full: bool,
    stalled: bool,
) -> CureState:
    """The state of a reacting layer; `full` says that its full cure is behind it.

    `gel` is the conversion at which this mix gels, None where it never does.
    """
    if full:
        return "cured"
    if age_h < working_time_h:
        return "liquid"
    if gel is None or alpha < gel:
        return "gelling"
    glassy = tg_c >= resin_c + GLASSY_K
    if glassy and stalled:
        return "hard_undercured"
    if kind == "adhesive" and alpha >= tack_free_conversion:
        return "firm"
    return "firm" if tg_c >= resin_c else "soft"


def still_soft_words(room_c: float, ref_temp_c: float, felt_late: bool, off_ratio: bool) -> str:
    """What "still soft" means here, with the causes a person can look for.

    `felt_late`: a person touched it after the label's time and found it soft. Without a touch
    nothing speaks against the mix, and a cold room is cause enough.
    """
    cold = room_c < ref_temp_c - COLD_K
    if not felt_late:
        if cold:
            below = ref_temp_c - room_c
            return f"Still soft: the room is {below:.0f} °C below the label's. Keep it warm."
        return "Still soft: it needs its time. Keep it warm."
    causes = []
    if cold:
        causes.append(f"the room is {ref_temp_c - room_c:.0f} °C below the label's")
    if off_ratio:
        causes.append("the mix is off its ratio")
    if not causes:
        causes.append("parts not mixed through, or a greasy film on the surface only")
    return "Felt soft, later than the label. Likely: " + "; ".join(causes) + "."


def hard_undercured_words(tg_c: float, remedy: Remedy | None) -> str:
    """What "hard but under-cured" means, and what finishes it."""
    words = (
        f"Hard but under-cured: it is hard in this cold room, but softens from about "
        f"{tg_c:.0f} °C and takes prints in a warm one. Do not wrap or ship it yet."
    )
    if remedy is None:
        return words + " No warmth within this resin's limit finishes it."
    return words + f" {remedy.hours:.0f} h at {remedy.temp_c:.0f} °C finish it."
