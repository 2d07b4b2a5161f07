"""Resin files: the library that comes with the program, and one of the person's own."""

from __future__ import annotations

import tomllib
from importlib.resources import files
from pathlib import Path

from monitor.core.cure import resin
from monitor.core.vocabulary import ResinProfile
from monitor.errors import SettingsError


class ShelfError(SettingsError):
    """A resin file cannot be used; the message names the file, the resin and the fault."""


def library() -> list[ResinProfile]:
    """The generic profiles that come with the program."""
    text = files("monitor").joinpath("data/resins.toml").read_text(encoding="utf-8")
    return read(text, "the resin library")


def load(path: Path) -> list[ResinProfile]:
    """A person's own resin file, in the format of the library."""
    try:
        return read(path.read_text(encoding="utf-8"), str(path))
    except (OSError, UnicodeDecodeError) as error:
        raise ShelfError(f"the resin file {path} cannot be read: {error}") from None


def read(text: str, name: str) -> list[ResinProfile]:
    """Parse resin tables: one [key] table a resin. Raises ShelfError with the first bad one."""
    try:
        tables = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise ShelfError(f"{name} is not TOML: {error}") from None
    found = []
    for key, table in tables.items():
        if not isinstance(table, dict):
            raise ShelfError(f"{name}: {key} stands outside a [resin] table; give each resin one")
        try:
            found.append(resin.from_mapping({"key": key, **table}))
        except ValueError as error:
            raise ShelfError(f"{name}, resin [{key}]: {error}") from None
    return found
