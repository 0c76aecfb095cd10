"""A site: its engines, how their logs and records read.

In: `site.yaml`. Out: a `Site`. Refuses with all problems of the file at once (codes SIT).
"""
