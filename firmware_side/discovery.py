"""Announce the node to a home-automation hub by the hubs' MQTT discovery convention.

Off unless a prefix is configured. One retained message for each quantity, at
`<prefix>/sensor/<device>/<quantity>/config` (component, then a node id and an object id, each
of letters, digits, `-` and `_`), tells the hub where readings come from and how to take them
out of a SenML message. The hub sees the newest value of each message, and `online` or
`offline` from the node's status, the convention's own default words. An empty retained
message on the same topic makes the hub forget it. Topic and keys are those of the
convention's published documentation (MQTT sensor: discovery topic and configuration
variables), read there.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from typing import Any

_QUANTITIES = (("temperature", "°C", "Temperature"), ("humidity", "%", "Humidity"))


def announcements(prefix: str, site: str, node: str, sensor: str) -> Iterator[tuple[str, bytes]]:
    """(topic, payload) of each announcement, to be published retained."""
    topic = f"pourside/{site}/{node}"
    # The convention allows letters, digits, - and _ in a device's part of the topic.
    device = re.sub(r"[^A-Za-z0-9_-]", "_", f"pourside_{site}_{node}_{sensor}")
    for quantity, unit, title in _QUANTITIES:
        of_records = f"selectattr('n', 'eq', '{quantity}') | map(attribute='v') | list"
        config: dict[str, Any] = {
            "name": title,
            "unique_id": f"{device}_{quantity}",
            "state_topic": f"{topic}/senml",
            "value_template": (
                "{{ (value_json | selectattr('n', 'defined') | " + of_records + " | last) }}"
            ),
            "unit_of_measurement": unit,
            "device_class": quantity,
            "state_class": "measurement",
            "availability_topic": f"{topic}/status",
            "device": {"identifiers": [device], "name": f"{node} ({site})"},
            "origin": {"name": "pourside"},
        }
        yield f"{prefix}/sensor/{device}/{quantity}/config", json.dumps(config).encode()
