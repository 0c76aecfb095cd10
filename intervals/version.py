"""The version of the program, which the build reads here and statements keep."""

__version__ = "0.3.0"
