"""What is wrong (rules) and what follows what (states)."""
