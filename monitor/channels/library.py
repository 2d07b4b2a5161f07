"""Notices through the notice library: chat, push and many more, each by one address.

The library is an extra (`pip install 'pourside[notify]'`) and costs some 36 MB of memory
once used, so it is loaded with the first notice, not before.
"""

from __future__ import annotations

import logging
from urllib.parse import parse_qs, urlsplit

from monitor.channels.base import ChannelError, masked
from monitor.core.alarms.flood import Notice

CONNECT_S = 3.0
READ_S = 5.0


class LibraryChannel:
    """Sends each notice to one address of the notice library.

    The address holds the secret: it is never shown, logged, or part of an error.
    """

    def __init__(self, url: str, *, name: str) -> None:
        self.name = name
        # Its host may be the secret itself: the kind alone.
        self.goes_to = masked(url)
        self._url = _bounded(url)

    def send(self, notice: Notice) -> None:
        """Hand the notice to the library. Raises ChannelError."""
        try:
            import apprise
        except ImportError:
            raise ChannelError(
                "the notice library is not installed; run: pip install 'pourside[notify]'",
                permanent=True,
            ) from None
        for talker in ("apprise", "urllib3"):  # both log whole addresses
            logging.getLogger(talker).setLevel(logging.CRITICAL)
        service = apprise.Apprise()
        if not service.add(self._url):
            raise ChannelError(
                f"the notice library does not understand {masked(self._url)}; check the address",
                permanent=True,
            )
        kind = {"urgent": "failure", "soon": "warning", "note": "info"}[notice.priority]
        if not service.notify(body=notice.body, title=notice.title, notify_type=kind):
            raise ChannelError(f"{masked(self._url)} did not take the notice")


def _bounded(url: str) -> str:
    """The address with time limits, unless it states its own: without, one may hang for long."""
    parts = urlsplit(url)
    stated = parse_qs(parts.query)
    extra = [
        f"{name}={limit_s}"
        for name, limit_s in (("cto", CONNECT_S), ("rto", READ_S))
        if name not in stated
    ]
    if not extra:
        return url
    return url + ("&" if parts.query else "?") + "&".join(extra)
