"""The program as its user runs it: a process of its own."""

from __future__ import annotations

import subprocess
import sys


def pourside(*words, cwd=None, **options):
    """One run of the command, ended within a minute; options go to the process."""
    return subprocess.run(
        [sys.executable, "-m", "monitor.cli", *words],
        capture_output=True,
        text=True,
        timeout=60,
        cwd=cwd,
        check=False,
        **options,
    )
