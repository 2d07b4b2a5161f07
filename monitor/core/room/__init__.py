"""The air around the piece: which readings to trust, and the room's next days."""
