"""Octave bands of the materials tables, in hertz (nominal centres of IEC 61260-1)."""

BANDS: tuple[int, ...] = (63, 125, 250, 500, 1000, 2000, 4000, 8000)
