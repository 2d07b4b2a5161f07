"""Dataclasses of the vocabulary to and from JSON columns."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, TypeVar

import msgspec
import numpy as np

T = TypeVar("T")


def _pack_other(value: Any) -> Any:
    if isinstance(value, np.ndarray):
        # Six significant places are finer than any sensor; times keep their second.
        return [round(float(item), 6) for item in value]
    if isinstance(value, np.generic):
        return value.item()
    if isinstance(value, Mapping):
        return dict(value)
    raise TypeError(f"a {type(value).__name__} cannot be kept in the store")


def _unpack_other(_kind: type[Any], value: Any) -> Any:
    return np.asarray(value, dtype=np.float64)


def pack(value: Any) -> str:
    """Return a vocabulary value as JSON text."""
    return msgspec.json.encode(value, enc_hook=_pack_other).decode()


def unpack(text: str, kind: type[T]) -> T:
    """Return the vocabulary value of `kind` that `pack` wrote."""
    return msgspec.json.decode(text.encode(), type=kind, dec_hook=_unpack_other)
