"""Where the open data for checks lies; a test that needs an absent file skips, naming it."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

REPOSITORY = Path(__file__).resolve().parents[1]


def data_root() -> Path:
    """The folder of open data: $POURSIDE_OPEN_DATA, or one laid beside the repository."""
    named = os.environ.get("POURSIDE_OPEN_DATA")
    return Path(named) if named else REPOSITORY.parent / "shared" / "data"


def open_data(name: str) -> Path:
    """The path of one open data file, or a skip that names what is missing."""
    path = data_root() / name
    if not path.exists():
        pytest.skip(f"open data file {name} is not on this machine")
    return path
