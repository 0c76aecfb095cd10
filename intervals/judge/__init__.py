"""The judge: records become completions, a rule set becomes a rule book, and every window gets its standing with reasons.

In: site, readings, records, rules, a moment. Out: findings. Conditions are judged by `intervals.rulebook.inference` alone.
"""
