"""What can go wrong on the node, by who must act."""

from __future__ import annotations


class NodeError(Exception):
    """The node cannot go on; the text says why and what to do."""


class OutboxError(NodeError):
    """The waiting room on disk cannot be used."""
