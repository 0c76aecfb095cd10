"""Job cards on paper, on a screen and as sheets."""
