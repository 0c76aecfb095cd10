"""The question behind `rules test`: the worked examples of a rule set."""
