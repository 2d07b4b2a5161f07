"""The only reader and writer of the environment on the node."""

from __future__ import annotations

import os


def no_install_prompt() -> None:
    """Keep the board library from asking, on a terminal, to run pip by itself."""
    os.environ.setdefault("BLINKA_SKIP_DEPENDENCY_CHECK", "1")


def service_socket() -> str | None:
    """Where the service manager listens for `READY=1` and `WATCHDOG=1`; `None` without one."""
    return os.environ.get("NOTIFY_SOCKET") or None
