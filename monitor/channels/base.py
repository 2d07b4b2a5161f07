"""What a channel is: something with a name that can carry a notice to a person."""

from __future__ import annotations

from typing import Protocol, runtime_checkable
from urllib.parse import urlsplit

from monitor.core.alarms.flood import Notice
from monitor.core.vocabulary import Priority


class ChannelError(Exception):
    """A notice could not be delivered. `permanent`: trying again soon will not help.

    The message is shown and logged: it never holds a secret.
    """

    def __init__(self, message: str, permanent: bool = False) -> None:
        super().__init__(message)
        self.permanent = permanent


class Channel(Protocol):
    """Carries notices; `send` returns once the other side has taken it, or raises."""

    @property
    def name(self) -> str: ...

    def send(self, notice: Notice) -> None:
        """Deliver one notice within a bounded time. Raises ChannelError."""
        ...


@runtime_checkable
class Standing(Protocol):
    """A channel that also shows what stands unacknowledged, such as a lamp."""

    @property
    def name(self) -> str: ...

    def show(self, priority: Priority | None) -> None:
        """Show the most pressing unacknowledged alarm; None: all is well."""
        ...


def masked(url: str) -> str:
    """An address fit to be shown: its kind alone, since user, path and query may be secrets."""
    try:
        scheme = urlsplit(url).scheme
    except ValueError:
        scheme = ""
    return f"{scheme or 'address'}://…"


def first_line(error: BaseException) -> str:
    """An error as one short line."""
    text = str(error).strip() or type(error).__name__
    return text.splitlines()[0][:200]
