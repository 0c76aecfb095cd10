"""A second judge, written from the handbook alone, and random sites on which it is held against the program.

Nothing here imports the package but `compare.py`, which asks it for its findings. `python -m tests.second_judge --sites 3000
--seed 1` tries many sites; the tests beside it try some.
"""
