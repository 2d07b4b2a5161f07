"""The one family of foreseen failures. The message says what, the value, and what to do."""

from __future__ import annotations


class MonitorError(Exception):
    """Something a person can put right, or a service manager by starting anew."""

    exit_code = 1


class SettingsError(MonitorError):
    """Wrong usage or configuration: starting anew will not help."""

    exit_code = 2
