"""Sensor sources, one file each, behind the protocol in `base`."""
