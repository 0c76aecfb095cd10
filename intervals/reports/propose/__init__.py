"""Proposed intervals as a rule set."""
