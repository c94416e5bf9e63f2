"""Coefficients corrected by what was measured in the room."""
