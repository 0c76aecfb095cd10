"""The question behind `duty`: how hard each engine ran, and how long its intervals last at that."""
