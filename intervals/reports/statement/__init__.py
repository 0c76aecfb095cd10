"""Statements and amendments: their files, and what became of them."""
