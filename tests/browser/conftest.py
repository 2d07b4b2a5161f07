"""One Chromium a file; a house each, empty or lived in."""

from __future__ import annotations

import pytest
from house import House, chromium_of


@pytest.fixture(scope="module")
def chromium():
    """Real Chromium; one at a time, as another file may bring its own."""
    with chromium_of() as browser:
        yield browser


@pytest.fixture
def house(tmp_path):
    """A house with nothing in it but the shelf."""
    one = House(tmp_path)
    yield one
    one.close()


@pytest.fixture(scope="session")
def lived_in(tmp_path_factory):
    """A house with two pieces curing in a room that turned cold; for looking, not for acting."""
    one = House(tmp_path_factory.mktemp("house"))
    one.live_in()
    yield one
    one.close()
