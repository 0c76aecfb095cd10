"""Records: what was done, held against the card."""
