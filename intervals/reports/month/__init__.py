"""The monthly page and its charts."""
