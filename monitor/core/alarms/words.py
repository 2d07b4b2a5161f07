"""Times inside an alarm's words: the core writes the moment, the edge words it in local time."""

from __future__ import annotations

import math
import re
from collections.abc import Callable

_MOMENT = re.compile(r"⟦(-?\d+)⟧")


def moment(at_s: float) -> str:
    """The moment `at_s` [s since 1970, UTC] as a mark that `local_words` turns into local time.

    Raises ValueError for a moment that is not finite.
    """
    if not math.isfinite(at_s):
        raise ValueError(f"moment {at_s} is not a time; give finite seconds since 1970")
    return f"⟦{round(at_s)}⟧"


def local_words(text: str, to_local: Callable[[float], str]) -> str:
    """`text` with each marked moment replaced by `to_local(seconds since 1970, UTC)`."""
    return _MOMENT.sub(lambda found: to_local(float(found[1])), text)
