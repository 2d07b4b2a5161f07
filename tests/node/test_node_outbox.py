"""The waiting room: order, numbering, bounds, dates, power cuts."""

import itertools
import os
import signal
import sqlite3
import subprocess
import sys

import pytest

from firmware_side.errors import OutboxError
from firmware_side.outbox import Outbox, Place

T0_S = 1_764_000_000.0


@pytest.fixture
def open_box(tmp_path):
    boxes = []

    def opened(*args, **options):
        boxes.append(Outbox(tmp_path / "outbox.db", *args, **options))
        return boxes[-1]

    yield opened
    for box in boxes:
        box.close()


def fill(box, count, first=0, step_s=10.0):
    box.add(
        [(20.0 + i % 7, 50.0, i * step_s, T0_S + i * step_s) for i in range(first, first + count)]
    )


def everything(box, limit=97):
    place, out = Place(), []
    while True:
        samples, place = box.after(place, limit)
        if not samples:
            return out
        out += samples


def test_it_gives_samples_back_in_order_with_rising_numbers(open_box):
    box = open_box()
    fill(box, 250)

    samples = everything(box)

    assert [s.seq for s in samples] == list(range(250))
    assert [s.at_s for s in samples] == [T0_S + 10.0 * i for i in range(250)]
    assert {s.boot for s in samples} == {box.boot}
    assert {s.low for s in samples} == {0}
    assert len(box) == 250


def test_it_lets_go_of_what_is_committed_and_of_nothing_else(open_box):
    box = open_box()
    fill(box, 10)

    assert box.committed({box.boot: 3, "somebody-else": 99}) == 4

    assert [(s.seq, s.low) for s in everything(box)] == [(n, 4) for n in range(4, 10)]
    assert box.committed({box.boot: 3}) == 0
    assert box.committed({box.boot: 1_000_000}) == 6
    fill(box, 1)
    assert [(s.seq, s.low) for s in everything(box)] == [(10, 10)]


def test_a_new_start_sends_the_old_starts_samples_first_under_their_own_id(open_box):
    box = open_box()
    fill(box, 3)
    first_boot = box.boot
    box.close()

    box = open_box()
    fill(box, 2, first=3)

    assert box.boot != first_boot
    assert [(s.boot, s.seq) for s in everything(box)] == [
        (first_boot, 0),
        (first_boot, 1),
        (first_boot, 2),
        (box.boot, 0),
        (box.boot, 1),
    ]


def test_a_sample_without_humidity_stays_without(open_box):
    box = open_box()
    box.add([(19.25, None, 1.0, T0_S)])

    assert (everything(box)[0].temp_c, everything(box)[0].humidity_pct) == (19.25, None)


def test_a_full_outbox_is_thinned_from_the_oldest_not_cut(open_box):
    box = open_box(max_samples=1000)
    for day in range(30):
        fill(box, 100, first=100 * day)

    samples = everything(box)

    assert len(samples) == len(box) <= 1000
    at_s = [s.at_s for s in samples]
    assert at_s == sorted(at_s)
    # From the first hour to the last, nothing but the spacing has changed.
    assert at_s[0] - T0_S <= 100.0
    assert at_s[-1] == T0_S + 10.0 * 2999
    gaps = [b - a for a, b in itertools.pairwise(at_s)]
    assert set(gaps[-200:]) == {10.0}
    assert max(gaps) <= 160.0
    assert sum(gaps[:200]) > sum(gaps[-200:])


def test_thinned_samples_are_numbered_without_gaps(open_box):
    # The monitor commits up to the first missing number: a gap would stop it for ever.
    box = open_box(max_samples=500)
    for day in range(20):
        fill(box, 100, first=100 * day)

    numbers = {}
    for sample in everything(box):
        numbers.setdefault(sample.boot, []).append(sample.seq)

    assert len(numbers) > 1
    for of_boot in numbers.values():
        assert of_boot == list(range(of_boot[0], of_boot[0] + len(of_boot)))
    assert box.committed({boot: seqs[-1] for boot, seqs in numbers.items()}) == len(
        [n for seqs in numbers.values() for n in seqs]
    )
    assert len(box) == 0


def test_samples_without_a_date_get_one_when_the_clock_is_set(open_box):
    box = open_box()
    box.add([(20.0, 50.0, 100.0, None), (20.1, 50.0, 110.0, None)])
    assert [s.at_s for s in everything(box)] == [None, None]
    assert [s.uptime_s for s in everything(box)] == [100.0, 110.0]

    box.date_all(T0_S)
    box.add([(20.2, 50.0, 120.0, T0_S + 120.0)])

    assert [s.at_s for s in everything(box)] == [T0_S + 100.0, T0_S + 110.0, T0_S + 120.0]


def test_a_new_start_of_the_node_alone_keeps_the_machines_uptime(open_box):
    box = open_box(machine_start="power-on-1")
    box.add([(20.0, 50.0, 100.0, None)])
    box.close()

    box = open_box(machine_start="power-on-1")
    box.date_all(T0_S)

    assert [s.at_s for s in everything(box)] == [T0_S + 100.0]


def test_undated_samples_of_an_earlier_power_on_are_dated_as_late_as_they_can_be(open_box):
    box = open_box(machine_start="power-on-1")
    box.add([(20.0, 50.0, 100.0, None), (20.0, 50.0, 160.0, None)])
    box.close()
    box = open_box(machine_start="power-on-2")
    box.add([(21.0, 50.0, 5.0, None)])
    # Until then they wait: relative time would date them wrongly.
    assert [s.temp_c for s in everything(box)] == [21.0]

    box.date_all(T0_S)
    assert box.date_earlier_starts(T0_S) == 2

    assert [s.at_s for s in everything(box)] == [T0_S - 60.0, T0_S, T0_S + 5.0]


WRITER = """
import sys
from firmware_side.outbox import Outbox
box = Outbox(sys.argv[1])
print(box.boot, flush=True)
n = 0
while True:
    box.add([(20.0, 50.0, float(n), 1764000000.0 + n)])
    print(n, flush=True)
    n += 1
"""


def test_what_it_took_survives_kill_9(open_box, tmp_path):
    for _ in range(3):
        child = subprocess.Popen(
            [sys.executable, "-c", WRITER, str(tmp_path / "outbox.db")],
            stdout=subprocess.PIPE,
            text=True,
        )
        boot = child.stdout.readline().strip()
        while int(line := child.stdout.readline()) < 50:
            pass
        os.kill(child.pid, signal.SIGKILL)
        said = [int(line), *(int(rest) for rest in child.stdout.read().split("\n")[:-1])]
        child.wait()
        child.stdout.close()

        box = open_box()
        kept = [s.seq for s in everything(box) if s.boot == boot]
        box.close()

        # One more than was said aloud may have been written when the kill came.
        assert kept == list(range(len(kept)))
        assert len(kept) - 1 - max(said) in (0, 1)


def test_a_damaged_file_is_put_aside(open_box, tmp_path, caplog):
    (tmp_path / "outbox.db").write_bytes(b"not a database at all" * 400)

    box = open_box()
    fill(box, 3)

    assert len(everything(box)) == 3
    assert (tmp_path / "outbox.db.damaged").read_bytes().startswith(b"not a database")
    assert "is damaged" in caplog.text


def test_a_newer_file_is_refused(open_box, tmp_path):
    with sqlite3.connect(tmp_path / "outbox.db") as con:
        con.execute("PRAGMA user_version = 99")
    con.close()

    with pytest.raises(OutboxError, match="written by a newer program"):
        open_box()


def test_one_node_at_a_time_works_on_an_outbox(tmp_path):
    first = Outbox(tmp_path / "outbox.db")
    fill(first, 3)
    with pytest.raises(OutboxError, match=r"another node works on the outbox \S+outbox.db already"):
        Outbox(tmp_path / "outbox.db")

    fill(first, 3, first=3)  # the one refused did it no harm
    assert [s.seq for s in everything(first)] == [0, 1, 2, 3, 4, 5]

    first.close()
    second = Outbox(tmp_path / "outbox.db")
    assert len(second) == 6
    second.close()


def test_an_outbox_that_cannot_be_opened_is_let_go(tmp_path):
    with sqlite3.connect(tmp_path / "outbox.db") as con:
        con.execute("PRAGMA user_version = 99")
    con.close()
    refusals = []  # their tracebacks hold whatever the call had opened
    for _ in range(2):
        with pytest.raises(OutboxError, match="written by a newer program") as refusal:
            Outbox(tmp_path / "outbox.db")
        refusals.append(refusal)


def test_a_folder_that_is_not_there_is_named(tmp_path):
    with pytest.raises(OutboxError, match="Check that its folder exists"):
        Outbox(tmp_path / "no" / "outbox.db")


def test_a_disk_that_cannot_be_written_keeps_nothing_by_half(open_box):
    box = open_box()
    fill(box, 2)
    box._con.execute("PRAGMA query_only = ON")

    with pytest.raises(OutboxError, match="cannot be written"):
        fill(box, 2)

    assert len(box) == 2
