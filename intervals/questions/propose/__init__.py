"""The question behind `propose`: the intervals that the duty supports."""
