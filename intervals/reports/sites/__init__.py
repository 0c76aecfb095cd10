"""What was found of several sites, as it is read."""
