"""The config file: every fault told at once, with the key, the value and what was expected."""

from __future__ import annotations

import pytest

from monitor import config, node_role
from monitor.config import ConfigError


def faults(table, environ=None):
    with pytest.raises(ConfigError) as caught:
        config.read(table, environ or {})
    return caught.value.faults


def test_an_empty_config_is_the_defaults():
    assert config.read({}, {}) == config.Config()


def test_every_fault_is_told_in_one_go():
    told = faults(
        {
            "sit": "home",
            "time_zone": "Mars/Olympus",
            "broker": {"port": 99999, "run": "magic"},
            "node": {"interval_s": "ten", "pins": "D4"},
            "monitor": {"tick_s": True},
            "dashboard": 8080,
        }
    )
    assert len(told) == 8
    assert "sit: not a setting; did you mean 'site'?" in told
    assert "broker.port = 99999: expected 1 to 65535" in told
    assert "broker.run = 'magic': expected one of none, mosquitto, embedded" in told
    assert "node.interval_s = 'ten': expected a number" in told
    assert "node.pins: not a setting; did you mean 'pin'?" in told
    assert "monitor.tick_s = True: expected a number" in told
    assert "dashboard = 8080: expected a table, [dashboard]" in told


def test_a_secret_may_live_in_the_environment_and_is_never_shown():
    read = config.read({"broker": {"password_env": "MQTT_PASSWORD"}}, {"MQTT_PASSWORD": "hush"})
    assert read.broker.password == "hush"
    assert "hush" not in repr(read)
    assert faults({"broker": {"password_env": "NOT_THERE"}}) == [
        "broker.password_env = 'NOT_THERE': that environment variable is not set"
    ]


def test_a_replay_needs_its_file_and_a_fast_clock_its_start():
    assert faults({"node": {"source": "replay"}, "clock": {"speed": 60}}) == [
        "node.file is empty: a replay needs the CSV file to play",
        "clock.speed without clock.start: a fast clock needs a time to start at",
    ]


def test_names_that_cannot_stand_in_a_topic_are_refused():
    assert faults({"site": "my/home", "node": {"name": "a b"}})[0].startswith("site = 'my/home'")


def test_a_missing_file_and_a_broken_file_say_so(tmp_path):
    with pytest.raises(ConfigError, match="there is no config file"):
        config.load(tmp_path / "none.toml")
    broken = tmp_path / "broken.toml"
    broken.write_text("site = ")
    with pytest.raises(ConfigError, match="is not TOML"):
        config.load(broken)


def test_the_made_up_start_is_read_in_utc():
    read = config.read({"clock": {"start": "2016-01-11T17:00:00", "speed": 60}}, {})
    assert read.clock.start_s == 1452531600.0


def test_a_node_announces_itself_to_nobody_unless_told_to():
    assert node_role.node_options(config.read({}, {})).announce_to is None
    told = config.read({"node": {"announce_to": "hub"}}, {})
    assert node_role.node_options(told).announce_to == "hub"


@pytest.mark.parametrize("prefix", ["hub/#", "+", "/hub", "hub/", "my hub"])
def test_a_prefix_that_cannot_begin_a_topic_is_refused(prefix):
    (fault,) = faults({"node": {"announce_to": prefix}})
    assert fault.startswith(f"node.announce_to = {prefix!r}: expected the start of a topic")


@pytest.mark.parametrize("pin", ["D17", "28", "-1", "\u00b2"])
def test_a_lamps_pin_is_a_gpio_number(pin):
    (fault,) = faults({"channels": [{"name": "lamp", "kind": "lamp", "lamp_pin": pin}]})
    assert fault == f"channels.lamp_pin = {pin!r}: expected a GPIO number like '17' (0 to 27)"


def test_a_kernels_thermometer_needs_its_file():
    assert faults({"node": {"source": "kernel"}}) == [
        "node.file is empty: name the kernel's file of the thermometer"
    ]


@pytest.mark.parametrize(
    ("table", "said"),
    [
        ({"data_dir": "a\0b"}, "data_dir = 'a\\x00b': expected a folder"),
        ({"data_dir": "~nobody-of-this-name/x"}, "data_dir = '~nobody-of-this-name/x': expected"),
        ({"node": {"name": "büro"}}, "node.name = 'büro': expected letters a to z"),
        ({"node": {"sensor": "a/b"}}, "node.sensor = 'a/b': expected letters a to z"),
        ({"site": ""}, "site is empty"),
        ({"foreign": [{"topic": "a/+/b", "node": "n"}]}, "foreign.topic = 'a/+/b': expected one"),
        ({"foreign": [{"topic": "a", "node": "x/y"}]}, "foreign.node = 'x/y': expected letters"),
        ({"channels": [{"name": "a", "port": 99999}]}, "channels.port = 99999: expected 1 to"),
    ],
)
def test_what_would_only_fail_later_is_told_at_once(table, said):
    (fault,) = faults(table)
    assert fault.startswith(said)


def test_a_file_nested_without_end_is_told(tmp_path):
    path = tmp_path / "pourside.toml"
    path.write_text("a = " + "[" * 5000)
    with pytest.raises(ConfigError, match="nested too deeply"):
        config.load(path)
