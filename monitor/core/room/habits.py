"""placeholder"""
from __future__ import annotations
from dataclasses import dataclass
from monitor.core.vocabulary import FloatArray
LEADS_H = (1, 2, 3, 6, 9, 12, 18, 24, 30, 36, 42, 48, 60, 72)
@dataclass(frozen=True)
class Habits:
    full: FloatArray
    few: FloatArray
