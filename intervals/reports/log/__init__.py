"""The report of what was read."""
