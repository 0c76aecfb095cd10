"""The question behind `report`: what goes to the month's meeting."""
