"""Pages of README and handbook that are made from the program itself."""
