"""Is this board ready? What each line says of a board, and the command that mends it.

Boards are folders that look like `/`: the kernel's files with the contents that its own
documents give them (mmc-dev-attrs, proc(5), raspberrypi-hwmon; from memory).
"""

import os
import pwd
import socket
import threading
from contextlib import closing
from pathlib import Path

import pytest

from firmware_side import board as machine
from firmware_side.sensors.base import Sample, SensorFault
from monitor import check_broker, checks, config, node_role
from monitor.store import connection

EMMC = {"type": "MMC\n", "life_time": "0x02 0x03\n", "pre_eol_info": "0x01\n"}
SD = {"type": "SD\n"}
NOBODY = 65_534


@pytest.fixture
def root(tmp_path):
    """An empty machine."""
    made = tmp_path / "machine"
    made.mkdir()
    return made


def put(root, path, text=""):
    file = root / path
    file.parent.mkdir(parents=True, exist_ok=True)
    file.write_text(text, encoding="utf-8")
    return file


def card(root, attributes, options="rw,noatime", name="mmcblk0", errors=0):
    """A board that runs from one memory card, mounted at `/`."""
    put(root, "proc/self/mountinfo", f"25 1 179:2 / / {options} shared:1 - ext4 /dev/root rw\n")
    disk = root / "sys/devices/platform/mmc" / name
    put(disk, f"{name}p2/partition", "2\n")
    for key, value in attributes.items():
        put(disk, f"device/{key}", value)
    (root / "sys/dev/block").mkdir(parents=True)
    (root / "sys/dev/block/179:2").symlink_to(disk / f"{name}p2")
    put(root, f"sys/fs/ext4/{name}p2/errors_count", f"{errors}\n")


def lines(tmp_path, table=None, root=None, **node):
    data = tmp_path / "data"
    data.mkdir(exist_ok=True)
    read = config.read({"data_dir": str(data), "broker": {"run": "embedded"}} | (table or {}), {})
    if node:
        read = config.read(
            {"data_dir": str(data), "broker": {"run": "embedded"}, "node": node} | (table or {}), {}
        )
    return {one.part: one for one in checks.board(read, root or machine.ROOT)}


def test_the_board_says_its_name(root):
    assert machine.model(root) == ""
    put(root, "sys/devices/virtual/dmi/id/product_name", "Bench PC\n")
    assert machine.model(root) == "Bench PC"
    put(root, "proc/device-tree/model", "A Board Model 4\0")
    assert machine.model(root) == "A Board Model 4"


@pytest.mark.parametrize(
    ("pin", "number"),
    [("D4", 4), ("GPIO17", 17), ("27", 27), (" D4 ", 4),
     ("D28", None), ("A0", None), ("", None), ("D", None), ("D444", None)],
)  # fmt: skip
def test_a_pin_is_known_by_its_gpio_number(pin, number):
    assert machine.gpio_number(pin) == number


def test_the_wear_of_soldered_memory_is_read(root):
    card(root, EMMC)

    found = machine.storage_of(Path("/var/lib/pourside"), root)

    # 0x03: between 20 and 30 % of the life of the more worn kind of cell.
    assert (found.kind, found.device, found.life_used_pct) == ("emmc", "mmcblk0", 30)
    assert not found.worn_out


def test_a_card_does_not_tell_its_wear(root, tmp_path):
    card(root, SD)

    line = lines(tmp_path, root=root)["storage"]

    assert line.fine
    assert line.words == (
        "mmcblk0: memory card; a card does not tell its wear, so keep a backup elsewhere"
    )


@pytest.mark.parametrize(
    ("attributes", "options", "errors", "said", "mend"),
    [
        (EMMC | {"life_time": "0x01 0x09\n"}, "rw", 0, "90 % of its life", "pourside backup FILE"),
        (EMMC | {"pre_eol_info": "0x02\n"}, "rw", 0, "30 % of its life", "pourside backup FILE"),
        (SD, "ro,noatime", 0, "/ is mounted read-only", "sudo mount -o remount,rw /"),
        (SD, "rw", 7, "mmcblk0 has 7 errors of its file system", "pourside backup FILE"),
    ],
)
def test_memory_that_fails_is_told_with_what_to_do(
    root, tmp_path, attributes, options, errors, said, mend
):
    card(root, attributes, options, errors=errors)

    line = lines(tmp_path, root=root)["storage"]

    assert not line.fine
    assert said in line.words
    assert line.mend.startswith(mend)


def test_the_last_of_two_mounts_on_the_way_is_where_it_lies(root):
    put(
        root,
        "proc/self/mountinfo",
        "25 1 179:2 / / rw - ext4 /dev/root rw\n"
        "26 25 8:1 / /var/my\\040data ro,noatime - ext4 /dev/sda1 rw\n"
        "broken line\n",
    )

    found = machine.storage_of(Path("/var/my data/pourside"), root)

    assert (found.mounted_at, found.kind, found.read_only) == ("/var/my data", "unknown", True)
    assert not machine.storage_of(Path("/var/mydata"), root).read_only


@pytest.mark.parametrize(("alarm", "fine"), [("0", True), ("1", False)])
def test_a_weak_supply_is_told_where_the_board_can_tell(root, tmp_path, alarm, fine):
    assert "supply" not in lines(tmp_path, root=root)
    put(root, "sys/class/hwmon/hwmon1/name", "rpi_volt\n")
    put(root, "sys/class/hwmon/hwmon1/in0_lcrit_alarm", f"{alarm}\n")

    assert lines(tmp_path, root=root)["supply"].fine is fine


def test_a_machine_without_pins_is_told_what_to_set(root, tmp_path):
    line = lines(tmp_path, root=root, source="dht22")["pins"]

    assert line.words == "this machine shows no pins (no /dev/gpiochip*)"
    assert 'source = "simulated"' in line.mend


def test_pins_that_can_be_used_are_named_with_their_use(root, tmp_path):
    put(root, "dev/gpiochip0")
    lamp = {"channels": [{"name": "lamp", "kind": "lamp", "lamp_pin": "17", "buzzer_pin": "27"}]}

    line = lines(tmp_path, lamp, root, source="dht22")["pins"]

    assert line.fine
    assert "GPIO 17 for the lamp" in line.words
    assert "GPIO 4 for the sensor; gpiochip0 can be used" in line.words


def test_pins_of_another_group_are_mended_by_joining_it(root, tmp_path, monkeypatch):
    chip = put(root, "dev/gpiochip0")
    monkeypatch.setattr(checks.os, "access", lambda path, _mode: Path(path) != chip)

    line = lines(tmp_path, root=root, source="dht22")["pins"]

    assert not line.fine
    us = pwd.getpwuid(os.geteuid()).pw_name
    assert line.mend == f"sudo usermod -a -G {chip.group()} {us}, then log in anew"


@pytest.mark.parametrize(
    ("pin", "lamp", "said"),
    [("A0", "17", "'A0' for the sensor is no pin"), ("D17", "17", "GPIO 17 is named for two")],
)
def test_pins_that_are_wrong_are_named(root, tmp_path, pin, lamp, said):
    put(root, "dev/gpiochip0")
    table = {"channels": [{"name": "lamp", "kind": "lamp", "lamp_pin": lamp}]}

    line = lines(tmp_path, table, root, source="dht22", pin=pin)["pins"]

    assert not line.fine
    assert said in line.words


def test_no_pins_no_line(root, tmp_path):
    assert "pins" not in lines(tmp_path, root=root, source="simulated")


class Held:
    """A sensor that holds a pin."""

    closed = False

    def __init__(self, answer):
        self.answer = answer

    def read(self):
        if isinstance(self.answer, Exception):
            raise self.answer
        return self.answer

    def close(self):
        self.closed = True


@pytest.mark.parametrize(
    ("answer", "fine", "said"),
    [
        (Sample(21.4, 48.0), True, "dht22 reads 21.4 °C, 48.0 %RH"),
        (Sample(21.4, None), True, "dht22 reads 21.4 °C"),
        (SensorFault("DHT22 on D4: DHT sensor not found, check wiring"), False, "check wiring"),
    ],
)
def test_the_sensor_is_asked_and_let_go_of(root, tmp_path, monkeypatch, answer, fine, said):
    held = Held(answer)
    monkeypatch.setattr(node_role, "source_of", lambda *_: held)
    monkeypatch.setattr(checks, "_service_runs", lambda _name: False)

    line = lines(tmp_path, root=root, source="dht22")["sensor"]

    assert (line.fine, said in line.words, held.closed) == (fine, True, True)


def test_a_sensor_that_the_service_holds_is_not_disturbed(root, tmp_path, monkeypatch):
    monkeypatch.setattr(checks, "_service_runs", lambda _name: True)
    monkeypatch.setattr(node_role, "source_of", lambda *_: pytest.fail("it was asked"))

    line = lines(tmp_path, root=root, source="dht22")["sensor"]

    assert "sudo systemctl stop pourside-node" in line.words


@pytest.mark.skipif(os.geteuid() != 0, reason="only root can give files away")
def test_files_of_another_user_in_the_folder_are_told(root, tmp_path):
    data = tmp_path / "data"
    put(tmp_path, "data/pourside.db-wal")
    os.chown(data, NOBODY, -1)
    owner = data.owner()

    line = lines(tmp_path, root=root)["user"]

    assert not line.fine
    assert line.words.startswith("pourside.db-wal in")
    assert line.mend == f"sudo chown -R {owner}: {data}"


@pytest.mark.skipif(os.geteuid() != 0, reason="told to root alone")
def test_root_is_told_that_the_services_are_not(root, tmp_path):
    data = tmp_path / "data"
    data.mkdir()
    os.chown(data, NOBODY, -1)

    line = lines(tmp_path, root=root)["user"]

    assert line.fine
    assert line.words.endswith(f"sudo -u {data.owner()} pourside check")


def test_the_store_must_take_a_transaction(root, tmp_path):
    path = tmp_path / "data" / "pourside.db"
    path.parent.mkdir()
    connection.open_owner(path).close()
    assert lines(tmp_path, root=root)["store"].words.endswith("opens and can be written")

    path.write_bytes(b"this is no database at all" * 50)

    line = lines(tmp_path, root=root)["store"]
    assert (line.fine, line.mend) == (False, "pourside restore FILE --yes")


def sockets(root, port, address):
    """The kernel's table with one listener."""
    put(
        root,
        "proc/net/tcp",
        "  sl  local_address rem_address   st tx_queue rx_queue\n"
        f"   0: {address}:{port:04X} 00000000:0000 0A 00000000:00000000 00:00000000 00000000\n",
    )


@pytest.fixture
def broker_that_answers():
    """One that answers every greeting with the same four bytes."""
    stop = threading.Event()
    server = socket.create_server(("127.0.0.1", 0))
    server.settimeout(0.1)
    answers = [b"\x20\x02\x00\x00"]

    def serve():
        while not stop.is_set():
            try:
                line, _ = server.accept()
            except TimeoutError:
                continue
            with closing(line):
                line.settimeout(2.0)
                line.recv(64)
                line.sendall(answers[0])

    thread = threading.Thread(target=serve)
    thread.start()
    yield server.getsockname()[1], answers
    stop.set()
    thread.join()
    server.close()


@pytest.mark.parametrize(
    ("answer", "address", "fine", "said"),
    [
        (b"\x20\x02\x00\x00", "00000000", False, "anybody can send readings"),
        (b"\x20\x02\x00\x00", "0100007F", True, "no password, from this machine only"),
        (b"\x20\x02\x00\x05", "00000000", True, "only with a password, from every network"),
        (b"\x20\x02\x00\x05", "0100007F", True, "only with a password, from this machine only"),
    ],
)
def test_it_tells_who_may_log_in_to_the_broker(
    root, tmp_path, broker_that_answers, answer, address, fine, said
):
    port, answers = broker_that_answers
    answers[0] = answer
    sockets(root, port, address)
    read = config.read({"data_dir": str(tmp_path), "broker": {"port": port}}, {})

    (line,) = check_broker.who_may_log_in(read, root)

    assert line.fine is fine
    assert said in line.words
    assert line.fine or "hardware/broker/pourside.conf" in line.mend


def test_a_broker_on_another_machine_without_a_password_is_open(root, monkeypatch):
    monkeypatch.setattr(check_broker, "_lets_in_anybody", lambda _host, _port: True)
    read = config.read({"broker": {"host": "192.0.2.7"}}, {})

    (line,) = check_broker.who_may_log_in(read, root)

    assert not line.fine
    assert "at 192.0.2.7" in line.words


@pytest.mark.parametrize(
    ("table", "fine", "said"),
    [
        ({"run": "embedded"}, True, "no password, from this machine only"),
        ({"run": "mosquitto"}, True, "no password, from this machine only"),
        ({"run": "mosquitto", "host": "0.0.0.0"}, False, "anybody can send"),
        ({"run": "mosquitto", "host": "0.0.0.0", "username": "a", "password": "b"}, True, "only"),
    ],
)
def test_a_broker_of_our_own_is_judged_by_its_config(root, table, fine, said):
    (line,) = check_broker.who_may_log_in(config.read({"broker": table}, {}), root)

    assert line.fine is fine
    assert said in line.words


@pytest.mark.mosquitto
def test_a_real_broker_says_whether_it_lets_anybody_in(mosquitto):
    open_to_all, closed = mosquitto(), mosquitto(username="bench", password="secret")

    assert check_broker._lets_in_anybody("127.0.0.1", open_to_all.port) is True
    assert check_broker._lets_in_anybody("127.0.0.1", closed.port) is False


def test_the_kernels_own_table_shows_a_real_listener():
    with (
        socket.create_server(("0.0.0.0", 0)) as all_,
        socket.create_server(("127.0.0.1", 0)) as own,
    ):
        assert check_broker._listens_everywhere(all_.getsockname()[1], machine.ROOT)
        assert not check_broker._listens_everywhere(own.getsockname()[1], machine.ROOT)


def test_every_line_that_is_not_fine_says_what_mends_it(root, tmp_path):
    card(root, SD, "ro")
    read = config.read(
        {"data_dir": str(tmp_path), "broker": {"port": 1}, "node": {"source": "dht22"}}, {}
    )

    found = checks.board(read, root)

    assert [one.part for one in found] == [
        "board", "user", "folder", "disk", "storage", "clock", "store", "broker", "pins",
        "sensor", "page",
    ]  # fmt: skip
    assert {one.part for one in found if not one.fine} >= {"storage", "broker", "pins"}
    assert all(one.mend for one in found if not one.fine)
