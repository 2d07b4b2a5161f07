"""What is wrong, and what a person may do now: the one door to the alarm rules.

`RULES` is the alarm list; the four functions judge readings, layers, futures and the works,
and hand back `Condition`s. What follows from a condition is decided in `states`.
"""

from __future__ import annotations

from monitor.core.alarms.judge_layer import layer_now
from monitor.core.alarms.judge_room import room_now, room_to_come
from monitor.core.alarms.judge_works import works
from monitor.core.alarms.rule_list import RULES

__all__ = ["RULES", "layer_now", "room_now", "room_to_come", "works"]
