"""Tell the service manager that the program is ready and alive (sd_notify's protocol)."""

from __future__ import annotations

import contextlib
import socket

from firmware_side.config import service_socket


def notify(message: str) -> None:
    """Send e.g. `READY=1` or `WATCHDOG=1`; does nothing outside a service."""
    address = service_socket()
    if address is None:
        return
    if address.startswith("@"):  # a name in the abstract space
        address = "\0" + address[1:]
    with contextlib.suppress(OSError), socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as to:
        to.sendto(message.encode(), address)
