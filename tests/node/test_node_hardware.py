"""The hardware folder: drawing and table are current, units and broker files are valid."""

import importlib.util
import re
import shutil
import subprocess
import textwrap
import tomllib
import xml.etree.ElementTree as ET
from pathlib import Path

import paho.mqtt.client as mqtt
import pytest
from conftest import need

from firmware_side.sensors.base import Sample, SensorFault
from monitor import config
from monitor.brokers import free_port, mosquitto_binary
from monitor.core.room.saltcheck import salt_humidity_pct

HARDWARE = Path(__file__).resolve().parents[2] / "hardware"
UNITS = sorted((HARDWARE / "units").glob("*.service"))
ROLES = {"node", "monitor", "dashboard"}


def wiring():
    spec = importlib.util.spec_from_file_location("draw_wiring", HARDWARE / "draw_wiring.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module, tomllib.loads((HARDWARE / "wiring.toml").read_text(encoding="utf-8"))


def settings(unit):
    lines = [line.strip() for line in unit.read_text(encoding="utf-8").splitlines()]
    return [tuple(line.split("=", 1)) for line in lines if "=" in line and line[0] != "#"]


def test_the_drawing_is_that_of_its_source():
    module, source = wiring()

    assert (HARDWARE / "wiring.svg").read_text(encoding="utf-8") == module.drawing(source)


def test_the_table_of_wires_is_that_of_the_drawing():
    module, source = wiring()
    readme = (HARDWARE / "README.md").read_text(encoding="utf-8")

    table = readme.split("<!-- table: wires -->\n")[1].split("<!-- end: wires -->")[0]

    assert table.strip() == module.table(source)


def test_the_sensor_of_the_worked_example_works(tmp_path):
    readme = (HARDWARE / "README.md").read_text(encoding="utf-8")
    block = next(b for b in readme.split("```python\n")[1:] if "class KernelHygrometer" in b)
    names = {"__name__": "example"}
    exec(textwrap.dedent("   " + block.split("```")[0].lstrip()), names)
    source = names["KernelHygrometer"](tmp_path)

    with pytest.raises(SensorFault, match="plugged in") as fault:
        source.read()
    assert fault.value.permanent
    (tmp_path / "in_temp_input").write_text("21400\n")
    (tmp_path / "in_humidityrelative_input").write_text("48250\n")
    assert source.read() == Sample(21.4, 48.25)
    (tmp_path / "in_temp_input").write_text("214000\n")
    with pytest.raises(SensorFault, match="outside what it measures"):
        source.read()


def test_the_probes_config_and_the_lamps_are_read_without_a_fault():
    readme = (HARDWARE / "README.md").read_text(encoding="utf-8")
    probe, lamp = (
        config.read(tomllib.loads(next(b for b in blocks if word in b)), {})
        for word in ('source = "kernel"', "lamp_pin")
        for blocks in [[b.split("```")[0] for b in readme.split("```toml\n")[1:]]]
    )

    assert (probe.node.source, probe.node.sensor) == ("kernel", "surface")
    assert probe.outbox_path != config.Config(data_dir=probe.data_dir).outbox_path
    assert (lamp.channels[0].lamp_pin, lamp.channels[0].buzzer_pin) == ("17", "27")


def test_the_salts_of_the_guide_are_those_of_the_program():
    readme = (HARDWARE / "README.md").read_text(encoding="utf-8")
    rows = dict(re.findall(r"^\| (\w+ chloride)[^|]*\|(.*)\|$", readme, re.MULTILINE))

    assert len(rows) == 3
    for name, cells in rows.items():
        for temp_c, cell in zip((15, 20, 25, 30), cells.split("|"), strict=True):
            value = salt_humidity_pct(name.replace(" ", "_"), temp_c)
            assert f"{value:.1f} %" == cell.strip()


def test_the_drawing_can_be_read_aloud():
    root = ET.parse(HARDWARE / "wiring.svg").getroot()
    space = "{http://www.w3.org/2000/svg}"

    assert root.get("role") == "img"
    assert root.find(f"{space}title").text
    assert "DHT22, 2 · data" in root.find(f"{space}desc").text


def test_no_supply_wire_goes_to_a_signal_pin_and_every_ground_to_ground():
    _, source = wiring()
    pins = {f"{p['key']}.{pin['key']}": pin["text"] for p in source["part"] for pin in p["pins"]}
    for wire in source["wire"]:
        texts = [pins[end] for end in wire["ends"] if pins[end]]
        if wire["kind"] == "ground":
            assert all("ground" in text or "short leg" in text for text in texts)
        if wire["kind"] == "supply":
            assert all("3.3 V" in text or "supply" in text for text in texts)
    assert "5 V" not in " ".join(pins.values())


def test_the_header_pins_are_those_of_the_forty_pin_header():
    # The 40-pin header's layout (published by the boards' makers; from memory).
    layout = {
        "1": "3.3 V",
        "7": "GPIO 4",
        "9": "ground",
        "11": "GPIO 17",
        "13": "GPIO 27",
        "14": "ground",
        "17": "3.3 V",
        "20": "ground",
    }
    _, source = wiring()
    board = next(part for part in source["part"] if part["key"] == "board")

    drawn = dict(pin["text"].removeprefix("pin ").split(" · ") for pin in board["pins"])

    assert drawn == layout


def test_there_is_a_unit_for_each_role():
    assert {unit.stem.removeprefix("pourside-") for unit in UNITS} == ROLES


@pytest.mark.parametrize("unit", UNITS, ids=lambda unit: unit.stem)
def test_a_unit_runs_its_role_as_its_own_user_and_is_watched(unit):
    told = settings(unit)
    role = unit.stem.removeprefix("pourside-")

    assert (
        "ExecStart",
        f"/opt/pourside/.venv/bin/pourside {role} --config /etc/pourside/pourside.toml",
    ) in told
    for wanted in [
        ("User", "pourside"),
        ("StateDirectory", "pourside"),
        ("Type", "notify"),
        ("Restart", "on-failure"),
        ("NoNewPrivileges", "yes"),
        ("ProtectSystem", "strict"),
    ]:
        assert wanted in told
    assert "WatchdogSec" in dict(told)


@pytest.mark.parametrize("unit", UNITS, ids=lambda unit: unit.stem)
def test_the_service_manager_accepts_a_unit_and_rates_it_tight(unit, tmp_path):
    need(shutil.which("systemd-analyze"), "systemd-analyze")
    copy = tmp_path / unit.name
    # The program is not installed where the unit will find it.
    copy.write_text(
        unit.read_text(encoding="utf-8").replace(
            "ExecStart=/opt/pourside/.venv/bin/pourside", f"ExecStart={shutil.which('true')}"
        ),
        encoding="utf-8",
    )

    verdict = subprocess.run(
        ["systemd-analyze", "verify", "--man=no", str(copy)], capture_output=True, text=True
    )
    rating = subprocess.run(
        ["systemd-analyze", "security", "--offline=true", "--threshold=25", str(copy)],
        capture_output=True,
        text=True,
    )

    assert (verdict.returncode, verdict.stderr.count(unit.name)) == (0, 0)
    # Of 0 (tight) to 10: at most 2.5. The score is printed where it is not.
    assert rating.returncode == 0, rating.stdout[-200:]


@pytest.mark.mosquitto
def test_the_brokers_files_let_in_who_should_come_in(tmp_path):
    binary = mosquitto_binary()
    need(binary, "Mosquitto")
    need(shutil.which("mosquitto_passwd"), "mosquitto_passwd")
    port = free_port()
    acl, passwords = tmp_path / "acl", tmp_path / "passwords"
    acl.write_text((HARDWARE / "broker" / "pourside.acl").read_text(encoding="utf-8"))
    for options, user in (["-c"], "pourside"), ([], "bench"), ([], "reader"):
        subprocess.run(
            ["mosquitto_passwd", *options, "-b", str(passwords), user, "secret"],
            check=True,
            capture_output=True,
        )
    config = tmp_path / "mosquitto.conf"
    text = (HARDWARE / "broker" / "pourside.conf").read_text(encoding="utf-8")
    config.write_text(
        text.replace("listener 1883", f"listener {port}")
        .replace("/etc/mosquitto/pourside.passwd", str(passwords))
        .replace("/etc/mosquitto/pourside.acl", str(acl))
        + "user root\n"
    )
    broker = subprocess.Popen([binary, "-c", str(config)], stderr=subprocess.DEVNULL)
    try:
        assert _granted(port, "pourside", "pourside/home/bench/senml")
        assert _granted(port, "bench", "pourside/home/bench/senml")
        assert not _granted(port, "bench", "pourside/home/other/senml")
        assert not _granted(port, "reader", "pourside/home/bench/senml")
        assert not _granted(port, None, "pourside/home/bench/senml")
    finally:
        broker.terminate()
        broker.wait()


def _granted(port, user, topic):
    """Whether the broker takes a message of this user on this topic (MQTT 5 says so)."""
    codes = []
    client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2, protocol=mqtt.MQTTv5)
    if user is not None:
        client.username_pw_set(user, "secret")

    def on_connect(c, _u, _f, reason, _p):
        if reason.is_failure:
            codes.append(reason.value)
            c.disconnect()
        else:
            c.publish(topic, b"[]", 1)

    def on_publish(c, _u, _mid, reason, _p):
        codes.append(reason.value)
        c.disconnect()

    client.on_connect, client.on_publish = on_connect, on_publish
    client.reconnect_delay_set(1, 1)
    client.connect_async("127.0.0.1", port)
    client.loop_forever(retry_first_connection=True)
    return codes[0] < 128
