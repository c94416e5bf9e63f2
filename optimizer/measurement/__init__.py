"""Room measurements: from recorded impulse responses to figures, or to the reason for having none.

recording         read and check files; impulse responses, or sweeps with their reference
decay_evaluation  EDT, T20, T30 per band
clarity           C50, C80, D50 per band
arrivals          early arrivals against the direct sound
low_response      level from 20 to 300 Hz
session           several files together: means, spread, left against right
"""
