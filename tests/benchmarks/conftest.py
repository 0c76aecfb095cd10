"""Keeps pytest out of the benchmarks: they are run by hand, and load libraries that the tests do not need."""

collect_ignore_glob = ["*.py"]
