"""What the store says when it cannot do its work."""

from __future__ import annotations


class StoreError(Exception):
    """The store cannot do this; the message says what, why, and what to do."""
