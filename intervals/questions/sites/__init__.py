"""Several sites judged in one call."""
