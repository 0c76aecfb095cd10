"""Texts of times to instants: patterns, the order of day and month, local clocks, the hour that comes twice."""
