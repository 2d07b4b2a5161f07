"""What a check of the board says of one part."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Result:
    """What was found of one part, and the command that mends it."""

    part: str
    fine: bool
    words: str
    mend: str = ""
