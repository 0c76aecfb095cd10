"""What a person writes in YAML: text, numbers, durations, conditions, legs, and what is wrong with them, line by line.

In: the bytes of a file. Out: plain values that the models of site and rule set hold, and problems with their places.
"""
