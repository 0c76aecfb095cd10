"""The question behind `explain`: the whole sum behind one finding."""
