"""The reports of a what-if."""
