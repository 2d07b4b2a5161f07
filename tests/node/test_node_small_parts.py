"""Clock, service notices, the discovery announcement, and what the node may import."""

import ctypes
import json
import re
import socket
import subprocess
import sys
import threading

import pytest

from firmware_side import clock
from firmware_side.clock import Clock
from firmware_side.discovery import announcements
from firmware_side.notify import notify


def test_made_up_time_runs_as_fast_as_asked():
    fast = Clock(start_s=1000.0, speed=10_000.0)
    began_s = fast.monotonic_s()

    assert fast.wait(threading.Event(), 300.0) is False

    assert fast.monotonic_s() - began_s >= 300.0
    assert fast.now_s() >= 1300.0
    assert fast.is_set()


def test_a_wait_ends_with_its_event():
    event = threading.Event()
    event.set()

    assert Clock().wait(event, 3600.0) is True


@pytest.mark.parametrize("speed", [0.0, -1.0, float("nan"), 1e7])
def test_a_speed_that_makes_no_sense_is_refused(speed):
    with pytest.raises(ValueError, match="speed is"):
        Clock(speed=speed)


@pytest.mark.parametrize(
    ("now_s", "synchronised", "kernel", "hardware_s", "is_set"),
    [
        (0.0, True, True, 0.0, False),  # 1970 is never right, whoever says so
        (1.76e9, True, False, None, True),
        (1.76e9, False, True, None, True),
        (1.76e9, False, False, 1.76e9 + 2.0, True),
        (1.76e9, False, False, 0.0, False),  # a hardware clock without a battery
        (1.76e9, False, False, None, False),
    ],
)
def test_it_knows_whether_the_systems_time_can_be_believed(
    tmp_path, monkeypatch, now_s, synchronised, kernel, hardware_s, is_set
):
    mark, hardware = tmp_path / "synchronized", tmp_path / "since_epoch"
    if synchronised:
        mark.touch()
    if hardware_s is not None:
        hardware.write_text(f"{hardware_s}\n")
    monkeypatch.setattr(clock, "_SYNCHRONISED", mark)
    monkeypatch.setattr(clock, "_HARDWARE_CLOCK", hardware)
    monkeypatch.setattr(clock, "_kernel_says_synchronised", lambda: kernel)

    assert clock.system_clock_is_set(now_s) is is_set


class Timex(ctypes.Structure):
    """The beginning of struct timex as adjtimex(2) gives it."""

    _fields_ = (
        ("modes", ctypes.c_uint),
        ("offset", ctypes.c_long),
        ("freq", ctypes.c_long),
        ("maxerror", ctypes.c_long),
        ("esterror", ctypes.c_long),
        ("status", ctypes.c_int),
    )


def test_the_kernels_word_is_read_where_it_lies():
    assert Timex.status.offset == clock._STATUS_OFFSET
    assert clock._kernel_says_synchronised() in (True, False)


def test_it_tells_the_service_manager(tmp_path, monkeypatch):
    address = str(tmp_path / "notify")
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind(address)
        manager.settimeout(5)
        monkeypatch.setenv("NOTIFY_SOCKET", address)

        notify("READY=1")

        assert manager.recv(100) == b"READY=1"


def test_without_a_service_manager_it_says_nothing(monkeypatch):
    monkeypatch.delenv("NOTIFY_SOCKET", raising=False)

    assert notify("READY=1") is None


# The convention's published documentation, "MQTT sensor": configuration variables of a sensor
# found by discovery (those we use; the optional rest has defaults), and its device's.
SENSOR_KEYS = {
    "availability_topic", "device", "device_class", "name", "origin", "state_class",
    "state_topic", "unique_id", "unit_of_measurement", "value_template",
}  # fmt: skip
DEVICE_KEYS = {"identifiers", "name"}


def announced(*names):
    return {topic: json.loads(payload) for topic, payload in announcements(*names)}


def test_it_announces_temperature_and_humidity_by_the_discovery_convention():
    told = announced("hub", "home", "bench.1", "dht22")

    topic = "hub/sensor/pourside_home_bench_1_dht22/temperature/config"
    assert told[topic]["state_topic"] == "pourside/home/bench.1/senml"
    assert told[topic]["availability_topic"] == "pourside/home/bench.1/status"
    assert told[topic]["device_class"] == "temperature"
    assert told[topic]["unit_of_measurement"] == "°C"
    assert len({config["unique_id"] for config in told.values()}) == 2


def test_its_announcements_have_the_conventions_keys_and_topics():
    # Published: <prefix>/<component>/[<node_id>/]<object_id>/config, ids of [a-zA-Z0-9_-].
    # Published: state_topic is required; a device needs a unique_id; humidity is in '%',
    # temperature in '°C' or '°F'; available are 'online' and 'offline' unless said otherwise.
    for topic, config in announced("a/hub", "home", "bench.1", "surface probe").items():
        assert re.fullmatch(r"a/hub/sensor/[A-Za-z0-9_-]+/[A-Za-z0-9_-]+/config", topic)
        assert set(config) == SENSOR_KEYS
        assert set(config["device"]) == DEVICE_KEYS
        assert (config["device_class"], config["unit_of_measurement"]) in {
            ("temperature", "°C"),
            ("humidity", "%"),
        }


def test_the_hubs_template_finds_the_newest_value():
    jinja2 = pytest.importorskip("jinja2")
    (_, payload), _ = announcements("hub", "home", "bench", "dht22")
    template = jinja2.Environment().from_string(json.loads(payload)["value_template"])
    message = [
        {"bn": "bench/dht22/", "n": "temperature", "v": 20.5},
        {"n": "humidity", "v": 48},
        {"n": "temperature", "v": 20.7},
    ]

    assert template.render(value_json=message).strip() == "20.7"


PROBE = """
import sys
import firmware_side.node, firmware_side.sensors.simulated, firmware_side.sensors.replay
import firmware_side.sensors.dht22
ours = {"firmware_side", "paho"}
top = {name.split(".")[0] for name in sys.modules} - set(sys.stdlib_module_names)
print(" ".join(sorted(n for n in top if not n.startswith("_") and n not in ours)))
"""


def test_the_node_imports_nothing_but_the_standard_library_and_paho():
    child = subprocess.run(
        [sys.executable, "-S", "-c", f"import sys; sys.path[:0] = {sys.path!r}{PROBE}"],
        capture_output=True,
        text=True,
        check=True,
    )

    assert child.stdout.strip() == ""


def test_the_message_format_imports_the_standard_library_alone():
    code = (
        f"import sys; sys.path[:0] = {sys.path!r}; import firmware_side.senml;"
        " print(*(n for n in sys.modules if n.split('.')[0] not in sys.stdlib_module_names"
        " and not n.startswith(('firmware_side', '__main__'))))"
    )
    child = subprocess.run(
        [sys.executable, "-S", "-c", code], capture_output=True, text=True, check=True
    )

    assert child.stdout.strip() == ""
