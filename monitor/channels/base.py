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
    """Carries notices; `send` returns once the other side has taken it, or raises.

    `goes_to` says where, fit to be shown: it never holds a secret.
    """

    @property
    def name(self) -> str: ...

    @property
    def goes_to(self) -> str: ...

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


def place(url: str) -> str:
    """Where a web address leads, fit to be shown: its kind and the end of its host's name.

    User, port, path and query may be secrets, and so may the first labels of a long name.
    """
    try:
        parts = urlsplit(url)
        host = parts.hostname or ""
    except ValueError:
        return masked(url)
    labels = host.split(".")
    if len(labels) > 2 and not labels[-1].isdecimal():
        host = f"….{labels[-2]}.{labels[-1]}"
    return f"{parts.scheme}://{host}/…" if host else masked(url)


def veiled(address: str) -> str:
    """A mail address of which only its owner knows the whole: 'k…@example.org'."""
    name, at, domain = address.rpartition("@")
    return f"{name[:1]}…{at}{domain}" if at else "…"


def first_line(error: BaseException) -> str:
    """An error as one short line."""
    text = str(error).strip() or type(error).__name__
    return text.splitlines()[0][:200]
