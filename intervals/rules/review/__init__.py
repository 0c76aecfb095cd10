"""A finished rule set looked at for doubt, and held against the site that it judges."""
