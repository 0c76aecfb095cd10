"""What an adjustment does: one class for each effect, and what several effects do together."""
