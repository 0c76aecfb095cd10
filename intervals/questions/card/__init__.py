"""Job cards: what is done at a stop, step by step."""
