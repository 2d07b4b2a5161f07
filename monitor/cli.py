"""The `pourside` command. Exit codes: 0 done, 1 the work failed, 2 usage or config."""

from __future__ import annotations

from monitor import quiet_start  # noqa: F401 - first of all

# isort: split
import logging
import os
import shutil
import signal
import sqlite3
import sys
import tempfile
import threading
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from types import FrameType

import click

from firmware_side.errors import NodeError
from firmware_side.sensors.base import SensorFault
from monitor import config as settings
from monitor.config import Config, ConfigError
from monitor.errors import MonitorError
from monitor.store import trouble
from monitor.store.errors import StoreError


def main() -> None:
    """Run the command and turn every foreseen failure into one clear line."""
    try:
        signal.signal(signal.SIGINT, signal.default_int_handler)
        # Without its own handling click hands the exit code of `ctx.exit` back.
        code = cli(standalone_mode=False)
        sys.exit(code if isinstance(code, int) else 0)
    except (click.Abort, KeyboardInterrupt):
        sys.exit(1)
    except click.ClickException as error:
        error.show()
        sys.exit(error.exit_code)
    except MonitorError as error:
        _tell(str(error))
        sys.exit(error.exit_code)
    except (NodeError, SensorFault, OSError) as error:
        _tell(str(error))
        sys.exit(1)
    except sqlite3.Error as error:
        _tell(f"the store cannot be written ({error}). {trouble.advice(error)}")
        sys.exit(1)


def _tell(words: str) -> None:
    for line in words.splitlines():
        click.echo(f"pourside: {line}", err=True)


config_option = click.option(
    "--config",
    "config_path",
    type=click.Path(path_type=Path),
    default=Path("pourside.toml"),
    show_default=True,
    help="The config file.",
)


@click.group()
@click.version_option(package_name="pourside", prog_name="pourside")
@click.option("-v", "--verbose", is_flag=True, help="Say more on standard error.")
def cli(verbose: bool) -> None:
    """A cure clock for two-part epoxy that follows the room it cures in."""
    logging.basicConfig(
        level=logging.INFO if verbose else logging.WARNING,
        format="%(levelname)s %(name)s: %(message)s",
        stream=sys.stderr,
    )


@cli.command()
@click.option("--speed", type=click.FloatRange(0.1, 3600), default=1.0, show_default=True,
              help="How many seconds of the made-up studio pass in a real one.")  # fmt: skip
@click.option("--port", type=click.IntRange(1, 65535), default=8080, show_default=True,
              help="Where the page listens, on this machine only.")  # fmt: skip
@click.option("--keep", type=click.Path(path_type=Path), default=None,
              help="Keep the made-up data in this folder.")  # fmt: skip
def demo(speed: float, port: int, keep: Path | None) -> None:
    """A simulated studio with a made-up history; nothing needs to be installed or wired."""
    stop = stopping()
    from monitor.running import run_demo

    if keep is not None and (keep / "pourside.db").exists():
        raise ConfigError([f"--keep {keep}: there is a store already; name an empty folder"])
    folder = keep or Path(tempfile.mkdtemp(prefix="pourside-demo-"))
    try:
        run_demo(folder, speed, port, stop, say=click.echo)
    finally:
        if keep is None:
            shutil.rmtree(folder, ignore_errors=True)


@cli.command()
@config_option
def up(config_path: Path) -> None:
    """Everything in one: the broker if asked for, the node if it is here, monitor and page."""
    stop = stopping()
    from monitor.running import run_up

    run_up(_loaded(config_path), stop, say=click.echo)


@cli.command()
@config_option
def node(config_path: Path) -> None:
    """The sensor node alone, for a service unit."""
    stop = stopping()
    from monitor.node_role import run_node

    run_node(_loaded(config_path), stop)


@cli.command()
@config_option
def monitor(config_path: Path) -> None:
    """The monitor alone, for a service unit."""
    stop = stopping()
    from monitor.running import run_monitor

    run_monitor(_loaded(config_path), stop)


@cli.command()
@config_option
def dashboard(config_path: Path) -> None:
    """The page alone, for a service unit."""
    stop = stopping()
    from monitor.running import run_dashboard

    run_dashboard(_loaded(config_path), stop, say=click.echo)


@cli.command()
@config_option
@click.option("--sensor", default=None, metavar="KEY",
              help="Instead: how the guided check of this sensor stands.")  # fmt: skip
def check(config_path: Path, sensor: str | None) -> None:
    """Is this board ready? One line for each part: what is wrong and what mends it."""
    from monitor.checks import board

    if sensor is not None:
        _tell_sensor(_loaded(config_path), sensor)
        return
    results = board(_loaded(config_path))
    for result in results:
        click.echo(f"{'ok  ' if result.fine else 'MEND'}  {result.part}: {result.words}")
        if not result.fine and result.mend:
            click.echo(f"      {result.mend}")
    if not all(result.fine for result in results):
        raise click.exceptions.Exit(1)


def _tell_sensor(config: Config, key: str) -> None:
    from monitor.answers import sensor_check_words, sensor_checks
    from monitor.clock import Clock
    from monitor.store import connection

    _need_store(config)
    now_s = Clock(config.clock.start_s, config.clock.speed).now_s()
    with closing(connection.open_reader(config.store_path)) as con:
        found = sensor_checks.look(con, key, now_s)
    if found is None:
        raise sensor_checks.CheckError(
            f"no check of {key} is going on; start one on the page, under Settings"
        )
    for line in sensor_check_words.words(found, now_s):
        click.echo(line)


@cli.command()
@config_option
@click.argument("file", type=click.Path(path_type=Path))
def backup(config_path: Path, file: Path) -> None:
    """Copy the store to FILE, also while everything runs."""
    from monitor.store import connection

    config = _loaded(config_path)
    if file.exists():
        raise ConfigError([f"{file} exists already; name a new file"])
    _need_store(config)
    with closing(connection.open_reader(config.store_path)) as con:
        connection.back_up(con, file)
    click.echo(f"The store is copied to {file}.")


@cli.command()
@config_option
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--yes", is_flag=True, help="Put it in place of the present store.")
def restore(config_path: Path, file: Path, yes: bool) -> None:
    """Put a backup in place of the store. Stop the monitor first."""
    from monitor.node_role import make_folder
    from monitor.store import connection

    config = _loaded(config_path)
    if not file.exists():
        raise ConfigError([f"there is no backup {file}"])
    target = config.store_path
    if target.exists() and file.samefile(target):
        raise ConfigError([f"{file} is the store itself; name a backup"])
    if target.exists() and not yes:
        raise ConfigError([f"{target} exists; add --yes to put the backup in its place"])
    make_folder(target.parent)
    with connection.holding(target):
        aside = connection.restore(file, target)
    click.echo(f"Restored {file}." + (f" The old store is {aside}." if aside else ""))


@cli.command()
@config_option
@click.argument("piece", type=int)
@click.option("--to", type=click.Path(path_type=Path), help="Write here instead of the screen.")
def export(config_path: Path, piece: int, to: Path | None) -> None:
    """One piece with all that belongs to it, as JSON."""
    from monitor.answers.export import piece_json
    from monitor.store import connection

    config = _loaded(config_path)
    _need_store(config)
    with closing(connection.open_reader(config.store_path)) as con:
        text = piece_json(con, piece)
    if to is None:
        click.echo(text)
    else:
        to.write_text(text + "\n", encoding="utf-8")
        click.echo(f"Piece {piece} is in {to}.")


def _loaded(path: Path) -> Config:
    config = settings.load(path)
    # A relative folder is meant beside the config file, wherever the command was started.
    if not config.data_dir.is_absolute():
        config = replace(config, data_dir=path.resolve().parent / config.data_dir)
    return config


def _need_store(config: Config) -> None:
    if not config.store_path.exists():
        raise StoreError(f"there is no store {config.store_path} yet; start the monitor once")


def stopping() -> threading.Event:
    """An event that the service manager's and the person's stop signals set.

    Asked for before the slow imports: a signal in the midst of them would end in a traceback.
    A handler that set the event itself could interrupt its own `wait` or `set` and block for
    ever on their lock; so the signal only writes a byte to a pipe, and a thread sets it.
    """
    stop = threading.Event()
    told, tell = os.pipe()
    os.set_blocking(tell, False)
    signal.set_wakeup_fd(tell, warn_on_full_buffer=False)

    def pass_by(_signal: int, _frame: FrameType | None) -> None:
        return

    for name in (signal.SIGTERM, signal.SIGINT):
        signal.signal(name, pass_by)

    def wait_for_word() -> None:
        os.read(told, 1)
        stop.set()

    threading.Thread(target=wait_for_word, name="signals", daemon=True).start()
    return stop


if __name__ == "__main__":
    main()
