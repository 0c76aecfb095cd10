"""Pages over the plant's own network: the month, what is due, and cards to fill in; nothing but records and cards can be written."""
