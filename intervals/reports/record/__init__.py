"""What becomes of handed-in work, drawn."""
