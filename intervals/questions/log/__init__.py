"""The question behind `log`: what was read of each engine."""
