"""The words of the trade that a report cannot do without, each in one plain sentence."""

TERMS = (
    ("dB (decibel)", "How much louder or weaker: 10 dB less sounds about half as loud. 0 dB "
     "against the direct sound means as strong as what comes straight from the loudspeaker."),
    ("Direct sound", "What reaches the ears straight from the loudspeaker, before any reflection."),
    ("Octave band", "All tones within an octave, named by its middle: 125 Hz is low bass, 1 kHz "
     "the middle of the voice, 8 kHz the sizzle of cymbals."),
    ("Decay time (ringing)", "Seconds that a sound takes to fade by 60 dB, which is to silence "
     "for most purposes. T20: the same, read from the first 25 dB of the fading."),
    ("Mask", "The shortest and the longest decay time that a guideline allows in each octave "
     "band."),
    ("Mode (bass note of the room)", "A bass note that fits between the walls as a standing wave, "
     "so that the room holds on to it; also called a room mode."),
    ("Schroeder frequency", "The frequency above which modes lie so close that none is heard by "
     "itself; below it each one matters."),
    ("First reflection", "Sound that reaches the ears by way of one surface just after the direct "
     "sound."),
    ("Flutter", "A rattle or twang after a clap, between two hard surfaces that face each other."),
    ("Absorption coefficient", "The share of the sound that a surface swallows: 0 none, 1 all. "
     "Samples with open edges can show more than 1."),
    ("Absorbing area (m² or ft²)", "Area times absorption coefficient: as much as an open window "
     "of that size would let out."),
    ("Scattering", "The share of the reflected sound that goes elsewhere than a mirror would send "
     "it."),
    ("Flow resistivity (Pa s/m²)", "How hard it is to press air through wool or foam; it decides "
     "how well a given thickness absorbs."),
    ("Paris integral", "The mean of the absorption over all directions sound can come from."),
    ("Reaction to fire", "Classes of EN 13501-1, from A1 (does not burn) to F (not tested); s1 to "
     "s3: little to much smoke; d0 to d2: no to many burning droplets."),
    ("Excess", "How far a figure lies beyond its limit, in shares of that limit. The score adds "
     "up all of them with their weights: a plain number, 0 when all limits are met."),
)  # fmt: skip
