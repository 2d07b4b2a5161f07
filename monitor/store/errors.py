"""What the store says when it cannot do its work."""

from __future__ import annotations

from monitor.errors import MonitorError


class StoreError(MonitorError):
    """The store cannot do this; the message says what, why, and what to do."""


class NotThere(StoreError):
    """The row that was asked for does not exist, or not any more."""
