"""The daemon: readings in, cure outlooks and alarms out."""
