"""The report of an explanation."""
