"""Which model gave which figures, and how sure they are, in plain words."""

from optimizer.acoustics.uncertainty import DRAWS, FEWER_DRAWS
from optimizer.report.score import GROUPS
from optimizer.report.wording import Table
from optimizer.results.scorecard import ScoreCard

# Names as the score card gives them; a model not listed here is shown by its name alone.
MODELS = {
    "wave equation": "Sound pressure in the whole room, computed step by step in time with every "
    "piece in its place; in the low and middle octaves. It knows standing waves and sound that "
    "bends round edges.",
    "coupled modes": "The standing waves of a box room, each damped by what lies where it is "
    "strong, and how they feed one another; only in the bass.",
    "ray tracing": "Thousands of rays that lose sound at each bounce and scatter. It knows where "
    "things are, but not that sound bends round edges.",
    "modes, first order": "The standing waves of a box room, each on its own with the damping that "
    "the surfaces give it; a quick estimate.",
    "modes, mean damping": "The mean damping of the standing waves in an octave; a quick estimate.",
    "image sources": "Every surface as a mirror: how much later, from where and how much weaker "
    "the loudspeaker's mirror image is heard. One bounce only.",
    "image rays to and fro": "Claps around loudspeakers and ears, sent to and fro between two "
    "facing surfaces until the room's sound would have died away: what faces what counts.",
    "areas": "Absorbing area to the left and to the right of the middle, added up.",
    "Norris-Eyring": "The textbook formula from volume, areas and mean absorption. It takes sound "
    "to come evenly from everywhere, which it seldom does in a treated room.",
}


def models_table(card: ScoreCard) -> Table:
    """The models of a score card, what they do, and which groups of rows they gave."""
    gave: dict[str, list[str]] = {}
    for row in card.rows:
        title = GROUPS.get(row.criterion, (row.criterion,))[0]
        where = gave.setdefault(row.model, [])
        if title not in where:
            where.append(title)
    rows = [[name, MODELS.get(name, ""), "; ".join(titles)] for name, titles in gave.items()]
    return Table("Models, and what each judged", ("model", "what it does", "judged"), rows,
                 kind="models")  # fmt: skip


def sureness(card: ScoreCard) -> str:
    """What the interval and the chance mean; blank when the card has none."""
    if all(row.after_low is None for row in card.rows):
        return ""
    return (
        "“4 in 5 between”: coefficients, scattering and places of loudspeakers and ears were drawn "
        f"{DRAWS} times ({FEWER_DRAWS} with --fast) at random within what is known of them; four "
        "draws of five lie in this range, one in ten below and one in ten above. “Chance”: the "
        "share of draws within the limits. What a model leaves out is in neither, so take both as "
        "the least doubt there is."
    )
