"""What the line to the broker says of its ups and downs."""

import logging

import pytest

from firmware_side import link


@pytest.fixture
def line(monkeypatch):
    """A line that is not connected, told of its ups and downs: `after(seconds, kind)`."""
    now = [1000.0]
    monkeypatch.setattr(link, "real_monotonic_s", lambda: now[0])
    made = link.Link(link.Broker(), "pourside-home-bench", ("t", b""), "c", lambda: None)

    def after(seconds, *kinds, code=0):
        for kind in kinds:
            now[0] += seconds
            made._events.put(link.Event(kind, code=code, words="Unspecified error"))
            made.events()

    made.after = after
    made.look_after = lambda seconds: (now.__setitem__(0, now[0] + seconds), made.events())
    return made


def warnings_of(caplog):
    return [r.getMessage() for r in caplog.records if r.levelno == logging.WARNING]


def test_a_broker_that_hangs_up_soon_again_and_again_is_told_once_as_what_it_looks_like(
    line, caplog
):
    caplog.set_level(logging.INFO, "firmware_side")
    line.after(1.0, *["up", "down"] * 20)

    away, taken = warnings_of(caplog)
    assert "is away (Unspecified error)" in away
    assert "as if another node called 'pourside-home-bench' took over" in taken

    line.after(1.0, "up")
    line.look_after(11.0)
    assert caplog.records[-1].getMessage() == "the line to broker 127.0.0.1:1883 stands again"


def test_a_broker_that_says_who_took_over_is_believed_at_once(line, caplog):
    line.after(60.0, "up")
    line.after(60.0, "down", code=142)
    line.after(1.0, *["up", "down"] * 3, code=142)

    (told,) = warnings_of(caplog)
    assert "another node called 'pourside-home-bench' took over the line to broker" in told


def test_a_broker_that_is_gone_between_its_ends_is_no_other_node(line, caplog):
    line.after(1.0, *["up", "down", "unreachable"] * 5)

    assert not any("another node" in words for words in warnings_of(caplog))


def test_ends_after_a_while_are_a_broker_that_is_away(line, caplog):
    line.after(60.0, *["up", "down"] * 5)

    told = warnings_of(caplog)
    assert len(told) == 5
    assert all("is away" in words for words in told)
