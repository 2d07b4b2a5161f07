"""What the node costs, printed: memory, processor, disk, and how fast an outage is made good.

    python tests/bench/bench_node.py [seconds]

Needs Mosquitto. The seconds (60) are how long the node is watched at a 10 s interval.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

HERE = Path(__file__).resolve()
sys.path[:0] = [str(HERE.parents[2]), str(HERE.parents[1])]

from node.small_monitor import SmallMonitor  # noqa: E402

from firmware_side.clock import Clock  # noqa: E402
from firmware_side.node import NodeOptions, run  # noqa: E402
from firmware_side.outbox import Outbox  # noqa: E402
from firmware_side.sensors.base import SensorFault  # noqa: E402
from monitor.brokers import MosquittoBroker  # noqa: E402

T0_S = 1_764_000_000.0

NODE = """
import sys, threading
from firmware_side.clock import Clock
from firmware_side.node import NodeOptions, run
from firmware_side.sensors.simulated import SimulatedSource, SimulatedStudio
clock = Clock()
options = NodeOptions("home", "bench", port=int(sys.argv[1]), outbox_path=sys.argv[2])
run(options, SimulatedSource(SimulatedStudio(), clock), clock, threading.Event())
"""


class Silent:
    def read(self):
        raise SensorFault("nothing to read")


def cpu_s(pid: int) -> float:
    fields = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def memory_mb(pid: int, what: str) -> float:
    status = Path(f"/proc/{pid}/status").read_text()
    return int(status.split(f"{what}:")[1].split()[0]) / 1024


def the_node_alone(folder: Path, port: int, seconds: float) -> None:
    child = subprocess.Popen(
        [sys.executable, "-c", NODE, str(port), str(folder / "alone.db")],
        cwd=HERE.parents[2],
    )
    try:
        time.sleep(5)  # past its start and first simulated week
        before_s, began_s = cpu_s(child.pid), time.monotonic()
        time.sleep(seconds)
        share = (cpu_s(child.pid) - before_s) / (time.monotonic() - began_s)
        maps = Path(f"/proc/{child.pid}/maps").read_text()
        print(
            f"node at 10 s: {memory_mb(child.pid, 'VmRSS'):.1f} MB now,"
            f" {memory_mb(child.pid, 'VmHWM'):.1f} MB at most;"
            f" {100 * share:.2f} % of a core over {seconds:.0f} s"
            f" (start {before_s:.2f} s); numpy loaded: {'numpy' in maps}"
        )
    finally:
        child.kill()
        child.wait()


def a_week_made_good(folder: Path, port: int) -> None:
    count = 7 * 8640
    path = folder / "week.db"
    box = Outbox(path)
    for first in range(0, count, 5000):
        box.add(
            [
                (20.0 + i % 50 / 10, 50.0, 10.0 * i, T0_S + 10.0 * i)
                for i in range(first, min(count, first + 5000))
            ]
        )
    size = box.bytes_on_disk()
    box.close()
    ears = SmallMonitor(port, prefix="pourside/home/shelf")
    stop = threading.Event()
    options = NodeOptions("home", "shelf", port=port, outbox_path=path)
    node = threading.Thread(target=run, args=(options, Silent(), Clock(), stop))
    began_s = time.monotonic()
    node.start()
    while sum(map(len, ears.messages)) < 2 * count and time.monotonic() - began_s < 300:
        time.sleep(0.1)
    took_s = time.monotonic() - began_s
    time.sleep(2)
    stop.set()
    node.join()
    ears.stop()
    box = Outbox(path)
    at_s = [r.at_s for m in ears.messages for r in m if r.name.endswith("temperature")]
    print(
        f"7 days at 10 s, {count} samples: {took_s:.1f} s in {len(ears.messages)} messages;"
        f" each once: {len(set(at_s)) == len(at_s) == count}; in order: {at_s == sorted(at_s)};"
        f" left in outbox: {len(box)}; {size / count:.1f} bytes a sample on disk"
    )
    box.close()


def a_full_outbox(folder: Path) -> None:
    box = Outbox(folder / "full.db", max_samples=200_000)
    began_s = time.monotonic()
    for first in range(0, 400_000, 5000):
        box.add([(20.0, 50.0, 10.0 * i, T0_S + 10.0 * i) for i in range(first, first + 5000)])
    print(
        f"400,000 samples into an outbox of 200,000: {len(box)} kept,"
        f" {box.bytes_on_disk() / 1e6:.1f} MB, {time.monotonic() - began_s:.1f} s"
    )
    one_s = []
    for i in range(200):
        began_s = time.monotonic()
        box.add([(20.0, 50.0, 10.0 * i, T0_S + 1e7 + 10.0 * i)])
        one_s.append(time.monotonic() - began_s)
    print(f"one sample onto the disk: median {sorted(one_s)[100] * 1e3:.2f} ms")
    box.close()


def main() -> None:
    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else 60.0
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        broker = MosquittoBroker(folder / "broker")
        broker.start()
        try:
            the_node_alone(folder, broker.port, seconds)
            a_week_made_good(folder, broker.port)
            a_full_outbox(folder)
        finally:
            broker.stop()


if __name__ == "__main__":
    main()
