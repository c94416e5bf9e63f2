"""What can be in a room, and what is unlikely there: every threshold in one place.

Beyond the limits of the first part a value cannot be meant and is refused; beyond those of the
second it is possible but more often a slip, so it is told and the run goes on. All are own
choices unless a source is named; each comment says why the figure is where it is.
"""

from pydantic import AfterValidator

# Refused.
HIGHEST_SKIRTING = 1.0  # m; a dado or wainscot is about that high, a skirting a tenth of it
CABINET_RADIUS = (0.03, 1.0)  # m, of a sphere as large: a matchbox to a wardrobe of a cabinet
WOOFER_RADIUS = (0.01, 0.5)  # m; cones are sold from 1 to 21 inches across (common practice)
TWEETER_RADIUS = (0.003, 0.1)  # m; domes of 1/2 inch to the mouth of a horn
LONGEST_TARGET = 10.0  # s; a bare stone hall of the largest room read here rings about as long
LEAST_BALANCE = 0.1  # percent; far below what coefficients are known to (about 5 percent)
NEAREST_EAR = 0.05  # m from a surface to the middle of the head, which is 0.15 m wide (ISO 7250-1)
LARGEST_PERSON = 2.0  # m3 of the box around one; lying with arms out it takes about 1.5 m3
THINNEST_SHARE = 0.5  # of the depth its data was measured at, below which a piece is another thing
SHARED_SPACE = 0.005  # m that boxes may overlap before they share space
SAME_PLACE = 0.01  # m between the edges of two things that count as one written twice

# Told.
HIGH_SKIRTING = 0.3  # m
LONG_TARGET = 3.0  # s; a room to listen in never wants so much
DOOR_SILL = 0.25  # m; a high step up to a door
FLOATING = 0.05  # m that furniture stands off the floor without being held
LARGEST_BOARD = 4.0  # m; boards are sold up to 3.6 m long (common practice), cloth longer
THIN_SHARE = 0.8  # of the depth its data was measured at
WAY_THROUGH = 0.6  # m of a door's width that a person needs to get by
IN_FRONT_OF_DOOR = 0.5  # m before a door in which furniture stops people


def between(low: float, high: float, unit: str = "", above: bool = False) -> AfterValidator:
    """Refuses a number outside low..high (`above`: low itself too) in words that name both ends."""

    def check(value: float) -> float:
        if low <= value <= high and not (above and value == low):
            return value
        ends = f"{low:.12g}", f"{high:.12g}"  # never 1e+09
        span = "above {} and up to {}" if above else "from {} to {}"
        raise ValueError(f"give a number {span.format(*ends)}" + (f" {unit}" if unit else ""))

    return AfterValidator(check)
