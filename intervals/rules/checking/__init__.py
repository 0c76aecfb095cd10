"""What is checked of a rule set: its entries against one another, against a site, and what a sound one could do better."""
