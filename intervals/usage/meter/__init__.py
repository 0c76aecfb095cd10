"""The course of an hour meter: readings of all places become running hours that can be trusted."""
