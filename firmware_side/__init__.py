"""What runs on the board with the sensor: sample, queue on disk, publish."""
