"""Dataclasses of the vocabulary to and from JSON columns."""

from __future__ import annotations

from typing import Any, TypeVar

import msgspec
import numpy as np

T = TypeVar("T")


def _pack_array(value: Any) -> Any:
    if isinstance(value, np.ndarray):
        # Six significant places are finer than any sensor; times keep their second.
        return [round(float(item), 6) for item in value]
    if isinstance(value, np.generic):
        return value.item()
    raise TypeError(f"a {type(value).__name__} cannot be kept in the store")


def _unpack_array(_kind: type[Any], value: Any) -> Any:
    return np.asarray(value, dtype=np.float64)


def pack(value: Any) -> str:
    """Return a vocabulary value as JSON text."""
    return msgspec.json.encode(value, enc_hook=_pack_array).decode()


def unpack(text: str, kind: type[T]) -> T:
    """Return the vocabulary value of `kind` that `pack` wrote."""
    return msgspec.json.decode(text.encode(), type=kind, dec_hook=_unpack_array)
