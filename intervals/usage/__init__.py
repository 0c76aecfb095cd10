"""Usage: accepted rows become the meter's course, elementary steps, and additive totals by piece of day and duty cell.

In: readings of one engine. Out: a `Ledger`. Refuses nothing: what no row shows stays unknown.
"""
