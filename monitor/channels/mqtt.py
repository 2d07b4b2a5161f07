"""Notices on the house's own MQTT broker: `pourside/<site>/notices`."""

from __future__ import annotations

from collections.abc import Callable

from monitor.channels.base import ChannelError
from monitor.channels.webhook import payload
from monitor.core.alarms.flood import Notice


class MqttChannel:
    """Publishes each notice as JSON, by a function that says whether the broker took it.

    `publish(topic, payload)` must not queue while the broker is away: the notice waits in the
    store, and a second queue would send it twice.
    """

    def __init__(
        self, site: str, publish: Callable[[str, bytes], bool], *, name: str = "mqtt"
    ) -> None:
        self.name = name
        self.topic = f"pourside/{site}/notices"
        self.goes_to = f"topic {self.topic}"
        self._publish = publish

    def send(self, notice: Notice) -> None:
        """Publish the notice. Raises ChannelError."""
        if not self._publish(self.topic, payload(notice)):
            raise ChannelError("the MQTT broker is away; check that it runs")
