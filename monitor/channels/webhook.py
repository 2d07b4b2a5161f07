"""Notices as JSON, posted to any HTTP address."""

from __future__ import annotations

import json
from collections.abc import Mapping
from http.client import HTTPException
from urllib.error import HTTPError, URLError
from urllib.parse import urlsplit
from urllib.request import HTTPRedirectHandler, OpenerDirector, ProxyHandler, Request, build_opener

from monitor.channels.base import ChannelError, first_line, masked, place
from monitor.core.alarms.flood import Notice

_TRY_AGAIN = frozenset({408, 425, 429})


class WebhookChannel:
    """Posts each notice to one address; any 2xx answer says that it arrived."""

    def __init__(
        self,
        url: str,
        *,
        headers: Mapping[str, str] | None = None,
        timeout_s: float = 5.0,
        name: str = "webhook",
    ) -> None:
        if urlsplit(url).scheme not in ("http", "https"):
            raise ValueError(f"channel {name!r}: its address must begin with http:// or https://")
        self.name = name
        self.goes_to = place(url)
        self._url = url
        self._headers = {"Content-Type": "application/json", **(headers or {})}
        self._timeout_s = timeout_s
        self._opener = _opener()

    def send(self, notice: Notice) -> None:
        """Post the notice. Raises ChannelError."""
        request = Request(self._url, payload(notice), self._headers, method="POST")
        shown = masked(self._url)
        try:
            with self._opener.open(request, timeout=self._timeout_s):
                return
        except HTTPError as error:
            error.close()
            permanent = error.code < 500 and error.code not in _TRY_AGAIN
            raise ChannelError(f"{shown} answered {error.code}", permanent) from None
        except URLError as error:
            reason = error.reason if isinstance(error.reason, OSError) else error
            raise ChannelError(f"{shown} cannot be reached: {first_line(reason)}") from None
        except (OSError, HTTPException) as error:
            raise ChannelError(f"{shown} failed: {first_line(error)}") from None


def payload(notice: Notice) -> bytes:
    """A notice as one UTF-8 JSON object: the shape of webhook and MQTT alike."""
    return json.dumps(
        {
            "id": notice.id,
            "at": notice.at_s,
            "priority": notice.priority,
            "title": notice.title,
            "words": notice.words,
            "consequence": notice.consequence,
            "act": notice.act,
            "also": list(notice.also),
            "alarms": [
                {"key": change.key, "subject": change.subject, "at": change.at_s}
                for change in notice.changes
            ],
        },
        ensure_ascii=False,
    ).encode()


class _NoRedirects(HTTPRedirectHandler):
    def redirect_request(self, *_args: object, **_kwargs: object) -> None:
        """A redirected POST would become a GET and the notice would be lost: refuse."""


def _opener() -> OpenerDirector:
    # No proxies: the address is the person's own, and the environment is not ours to read.
    return build_opener(ProxyHandler({}), _NoRedirects())
