"""Rule sets: tasks, adjustments, examples; read, checked and linted.

In: a YAML file, or the name of a shipped one. Out: a `RuleSet`. Refuses with all problems of the file at once (codes RUL).
"""
