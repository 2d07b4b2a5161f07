"""Imported before all else by the command: Ctrl-C while it loads ends it without a traceback.

On a small board loading takes a second. `cli.main` then gives Ctrl-C back its usual meaning.
"""

from __future__ import annotations

import signal
import sys

# Not where a test or another program imports the command's parts.
if sys.argv[0].endswith(("pourside", "-m")):
    signal.signal(signal.SIGINT, signal.SIG_DFL)
