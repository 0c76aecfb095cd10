"""The rule book: a rule set compiled, what is put before the inference engine, and the rules that every schedule shares."""
