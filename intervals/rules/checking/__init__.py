"""What is checked while a rule set is read: its entries against one another, in the file's plain data."""
