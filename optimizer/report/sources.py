"""What the figures rest on: every coefficient used with its source, and what was assumed."""

import re
from collections.abc import Iterator
from dataclasses import dataclass

from materials import Material, MaterialDataError, MaterialTable, load_table
from optimizer.acoustics.decay import SPEED_OF_SOUND
from optimizer.acoustics.early_criteria import PROFILES
from optimizer.bands import BAND_LABELS, BANDS
from optimizer.faults import by_name
from optimizer.project import Project
from optimizer.report.wording import Cell, Table, listed, sizes, volume
from optimizer.results.model import Plan
from optimizer.results.words import surface_in_words
from optimizer.room.geometry import Floats
from optimizer.units import format_length


@dataclass(frozen=True)
class Reference:
    """A source as it is cited: its number, full citation, and how its figures came here."""

    number: int
    key: str
    citation: str
    came: str


def materials_used(plan: Plan) -> dict[str, tuple[Material, list[str]]]:
    """Every material that the figures rest on, by id, and what it stands for."""
    used: dict[str, tuple[Material, list[str]]] = {}
    for material, what in _uses(plan):
        words = used.setdefault(material.id, (material, []))[1]
        if what not in words:
            words.append(what)
    return used


def _uses(plan: Plan) -> Iterator[tuple[Material, str]]:
    room = plan.project.room
    for surface in room.surfaces:
        yield surface.material, surface_in_words(surface)
        for area in surface.areas:
            yield area.material, area.name
    for furniture in room.furniture:
        yield furniture.material, furniture.name
    for piece in (*plan.project.hung, *(planned.piece for planned in plan.pieces)):
        yield piece.material, piece.product.name


def coefficients_table(plan: Plan) -> Table:
    """Absorption of every material used, per octave band, with its sources."""
    header = ("material", *BAND_LABELS)
    names = _Names(_table(plan.project), {r.key: r.number for r in references(plan)})
    rows = [_row(material, words, names) for material, words in materials_used(plan).values()]
    right = tuple(range(1, 1 + len(BANDS)))
    caption = "Absorption used, per octave band"
    return Table(caption, header, rows, right, kind="coefficients")


@dataclass(frozen=True)
class _Names:
    """What stands for ids of materials, and for short names of sources."""

    table: MaterialTable
    numbers: dict[str, int]

    def plain(self, note: str) -> str:
        """A note with names of materials for their ids, and signs as people write them."""
        return _signs(_ID.sub(self._named, note))

    def _named(self, found: re.Match[str]) -> str:
        material = next((m for m in self.table if m.id == found[0]), None)
        return f"“{material.name}”" if material else found[0].replace("_", " ")


def _signs(text: str) -> str:
    """Text with signs as people write them."""
    for short, sign in _SIGNS.items():
        text = text.replace(short, sign)
    return text


_ID = re.compile(r"\b[a-z]+[a-z0-9]*(?:_[a-z0-9]+)+\b")
_SIGNS = {
    "m2": "m²",
    "m3": "m³",
    "V^(2/3)": "V to the power of 2/3",
    "alpha per": "coefficient per",
}


def _row(material: Material, words: list[str], names: _Names) -> list[str]:
    values = [
        ("~" if band in material.extrapolated else "") + f"{value:.2f}"
        for band, value in zip(BANDS, material.absorption, strict=True)
    ]
    unit = " (m² of one item)" if material.unit == "m2" else ""
    numbers = sorted(names.numbers[key] for key in material.sources)
    sources = ", ".join(str(number) for number in numbers) or "none given"
    if material.status != "sourced":
        sources += f" ({material.status})"
    aside = f"stands for: {listed(words)}. Sources: {sources}."
    if material.note:
        aside += f" {_sentence(names.plain(material.note))}"
    return [Cell(_signs(material.name) + unit, aside), *values]


def references(plan: Plan) -> list[Reference]:
    """Full citations of all sources used, numbered in the order in which they are written.

    A source that the table does not know is one of a build or of a person's own table, cited as
    it stands there.
    """
    known = {source.key: source for source in _table(plan.project).cited()}
    keys = {key for material, _ in materials_used(plan).values() for key in material.sources}
    cited = []
    for key in keys:
        source = known.get(key)
        cited.append(
            (source.citation if source else key, key, _came(source.seen) if source else "")
        )
    return [
        Reference(number, key, _signs(_sentence(text)), came)
        for number, (text, key, came) in enumerate(sorted(cited), 1)
    ]


def _came(seen: str) -> str:
    """How the figures of a source came here; blank where there is nothing to say."""
    if "from memory" in seen:
        return "from memory"
    return "" if seen in ("", "no source") or "recomputed" in seen else "read second-hand"


def _sentence(text: str) -> str:
    return text if text.endswith(".") else f"{text}."


def _table(project: Project) -> MaterialTable:
    try:
        return load_table(project.scenario.materials_path)
    except (MaterialDataError, OSError):
        return load_table()  # the person's own file went away after it was read


def assumptions(plan: Plan, units: str = "m") -> list[str]:
    """What was taken as given, in the order of the room file."""
    project = plan.project
    room = project.room
    shape = volume(room.volume, units)
    if room.dimensions is not None:
        shape = f"{sizes(room.dimensions, units)}, {shape}"
    return [
        f"Room: {shape}; air at {room.temperature_c:g} °C and {room.humidity_percent:g} % relative "
        f"humidity (absorption by ISO 9613-1), speed of sound {SPEED_OF_SOUND:g} m/s.",
        *[f"{s.name}: {_point(s.at, units)}." for s in room.speakers],
        *[f"Seat “{s.name}”: ears at {_point(s.at, units)}; weight {s.weight:g}."
          for s in room.seats],
        _loudspeaker(project),
        _targets(project),
        *[f"To check: {by_name(doubt)}." for doubt in project.doubts],
    ]  # fmt: skip


def _point(point: Floats, units: str) -> str:
    x, y, z = (format_length(float(value), units) for value in point)
    return f"{x} from the front wall, {y} from the left wall, {z} above the floor"


def _loudspeaker(project: Project) -> str:
    speaker = project.scenario.loudspeaker
    if speaker.directivity == "all-round":
        return "Loudspeakers radiate alike in all directions."
    return (
        "Loudspeakers: a general two-way design, pistons on a sphere; radius of the woofer "
        f"{1000 * speaker.woofer_radius:g} mm, of the tweeter "
        f"{1000 * speaker.tweeter_radius:g} mm, "
        f"crossover {speaker.crossover_hz:g} Hz. Yours will differ somewhat."
    )


def _targets(project: Project) -> str:
    targets = project.scenario.targets
    own = targets.decay_low is not None or targets.decay_high is not None
    mask = "limits of the room file" if own else "mask of BS.1116-3 and EBU Tech 3276"
    level, window = PROFILES[targets.early]
    return (
        f"Decay is judged by the {mask}, early reflections by the profile “{targets.early}” (at "
        f"most {level:g} dB against the direct sound within {window:g} ms of it), the sides "
        f"within {targets.side_balance_percent:g} % and the pair of loudspeakers within "
        f"{targets.pair_balance_percent:g} % (the last two are this tool's own limits)."
    )


def model_limits() -> list[str]:
    """Where the models stop being sure."""
    return [
        "Absorption coefficients differ between laboratories by about 20 % of the value at 125 Hz, "
        "10 % at 250 Hz and 5 % above (ISO 12999-2), and between sources by more. Values marked ~ "
        "are extrapolated and less sure; most at 63 Hz are. There and below, porous matter of "
        "which only coefficients are known (curtains, carpets) is taken to fall as frequency "
        "squared.",
        "Below the Schroeder frequency (some 200 Hz in a small room) single standing waves rule "
        "and one decay time says little. In a box room they are judged one by one; in other shapes "
        "the bass figures are a direction, not a figure.",
        "Octaves up to 500 Hz, or as far as the room file says, are judged by the wave equation, "
        "higher ones by ray tracing; without "
        "the wave equation (--fast) the bass comes from the standing waves and all else from ray "
        "tracing. Where two models answer the same band they often differ by 10 %.",
        "Wave equation and standing waves take walls to react at each place by itself, "
        "loudspeakers as points and furniture as boxes. Ray tracing does not know that sound bends "
        "round the edges of a panel; how much unlike patches of a wall scatter it takes from their "
        "mean reflection, and most other scattering is estimated.",
        "Decay up to 500 Hz is heard over the room from two places and their mirror images, chosen "
        "from the room's shape (ISO 3382-2 asks for two), so it does not hang on where the "
        "loudspeakers stand; the decay from the loudspeakers is shown beside it.",
        "A closed door or closet counts as a panel of the material named for it, with its area; an "
        "open one as the coefficient its material has, not as the volume behind. A couch counts "
        "with the absorption area measured for one; standing waves meet half of it, since it was "
        "measured on a hard floor, which doubles the pressure there.",
        "What a figure lies between, four times in five, and the chance of a limit being met cover "
        "coefficients, scattering and places a few centimetres off, not what a model leaves out.",
        "Reflections: one bounce only, coefficients for sound from all sides in place of the exact "
        "loss in the mirror direction, a general loudspeaker. What a diffuser scatters goes out by "
        "Lambert's cosine law; close by, no table says how evenly it does.",
        "Flutter: a clap at one place and its images in two surfaces, heard at the same place; "
        "diffraction mixes rays over a Fresnel zone, by which narrow bare gaps are told to lose "
        "less than waves do.",
        "The decay mask was written for larger listening rooms; a small room that reaches it is a "
        "very good one.",
        "What is built differs from what was drawn: gaps, density and fabric change a piece. "
        "Measure afterwards if you can.",
    ]
