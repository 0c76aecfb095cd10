"""Windows: the windows of a task one after the other, their legs, due dates, tolerances, and the window rules that fired."""
