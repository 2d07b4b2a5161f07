"""Notices to the world, one file a channel."""
