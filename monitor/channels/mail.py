"""Notices by mail, through any SMTP server."""

from __future__ import annotations

import smtplib
import ssl
from collections.abc import Sequence
from email.message import EmailMessage
from email.utils import formatdate
from hashlib import sha256
from typing import Literal

from monitor.channels.base import ChannelError, first_line, veiled
from monitor.core.alarms.flood import Notice

Security = Literal["none", "starttls", "tls"]


class MailChannel:
    """Sends each notice as one plain-text message.

    The message's id is the notice's own, so a server or reader can tell a repeated attempt.
    """

    def __init__(
        self,
        host: str,
        port: int,
        sender: str,
        recipients: Sequence[str],
        *,
        user: str = "",
        password: str = "",
        security: Security = "starttls",
        timeout_s: float = 10.0,
        name: str = "mail",
    ) -> None:
        if not recipients:
            raise ValueError(f"channel {name!r} has no recipients; give at least one address")
        self.name = name
        self.goes_to = ", ".join(map(veiled, recipients)) + f" by {host}"
        self._host = host
        self._port = port
        self._sender = sender
        self._recipients = list(recipients)
        self._user = user
        self._password = password
        self._security = security
        self._timeout_s = timeout_s

    def send(self, notice: Notice) -> None:
        """Hand the notice to the server. Raises ChannelError."""
        try:
            with self._connected() as server:
                refused = server.send_message(self._message(notice))
        except smtplib.SMTPRecipientsRefused as error:
            permanent = all(code >= 500 for code, _ in error.recipients.values())
            raise ChannelError("the mail server refused every recipient", permanent) from None
        except smtplib.SMTPResponseException as error:
            # The server's text can repeat what we sent, such as a user's name: code only.
            raise ChannelError(
                f"the mail server {self._host} answered {error.smtp_code}", error.smtp_code >= 500
            ) from None
        except (smtplib.SMTPException, OSError) as error:
            raise ChannelError(
                f"mail server {self._host}:{self._port}: {first_line(error)}"
            ) from error
        if refused:
            raise ChannelError(
                f"the mail server refused {len(refused)} of {len(self._recipients)} recipients; "
                "the others have the message",
                permanent=True,
            )

    def _connected(self) -> smtplib.SMTP:
        if self._security == "tls":
            context = ssl.create_default_context()
            server: smtplib.SMTP = smtplib.SMTP_SSL(
                self._host, self._port, timeout=self._timeout_s, context=context
            )
        else:
            server = smtplib.SMTP(self._host, self._port, timeout=self._timeout_s)
        try:
            if self._security == "starttls":
                server.starttls(context=ssl.create_default_context())
            if self._user:
                server.login(self._user, self._password)
        except BaseException:
            server.close()
            raise
        return server

    def _message(self, notice: Notice) -> EmailMessage:
        message = EmailMessage()
        message["From"] = self._sender
        message["To"] = ", ".join(self._recipients)
        message["Subject"] = notice.title
        message["Date"] = formatdate(notice.at_s)
        message["Message-ID"] = f"<{sha256(notice.id.encode()).hexdigest()[:32]}@pourside.invalid>"
        if notice.priority == "urgent":
            message["Importance"] = "high"
        message.set_content(notice.body)
        return message
