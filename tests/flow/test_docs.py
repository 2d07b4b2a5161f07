"""What the documents say is so."""

from __future__ import annotations

import re
import tomllib

import click
from opendata import REPOSITORY

from monitor import config
from monitor.cli import cli

README = (REPOSITORY / "README.md").read_text()


def test_the_first_two_shell_blocks_are_one_line_each_and_run_demo_and_tests():
    blocks = re.findall(r"^```sh\n(.*?)^```$", README, re.MULTILINE | re.DOTALL)
    assert len(blocks) == 2
    assert [block.count("\n") for block in blocks] == [1, 1]
    assert "pourside demo" in blocks[0]
    assert blocks[1].rstrip().endswith("pytest")


def test_every_command_stands_in_the_readme():
    for name in cli.list_commands(click.Context(cli)):
        assert f"pourside {name}" in README


def test_the_config_that_ships_is_read_without_a_fault():
    table = tomllib.loads((REPOSITORY / "hardware" / "pourside.toml").read_text())
    assert config.read(table, {}).node.source == "dht22"


def test_what_is_commented_out_in_the_config_is_a_setting_too():
    text = (REPOSITORY / "hardware" / "pourside.toml").read_text()
    shown = re.sub(r"^# (?=\w+ = |\[\[)", "", text, flags=re.MULTILINE)
    read = config.read(
        tomllib.loads(shown),
        {
            "POURSIDE_BROKER_PASSWORD": "a",
            "POURSIDE_PHONE_URL": "https://example.org",
            "POURSIDE_MAIL_PASSWORD": "b",
        },
    )
    assert [one.name for one in read.channels] == ["phone", "mail"]
