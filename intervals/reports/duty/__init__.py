"""The report of duty."""
