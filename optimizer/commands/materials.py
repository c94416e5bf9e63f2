"""`treatment materials`: search the absorption table, with sources."""

import argparse

from materials import Material, load_table
from optimizer.bands import BANDS, band_label
from optimizer.commands.printing import say
from optimizer.results.tables import text_table

EPILOG = """\
examples:
  treatment materials                  every row
  treatment materials curtain          rows that mention curtains
  treatment materials wool 50 --sources
"""


def add_parser(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Register the command."""
    parser = commands.add_parser(
        "materials",
        help="search the absorption table, with sources",
        description="Search the open absorption table by words; all words must match.",
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("words", nargs="*", metavar="WORDS", help="what to look for")
    parser.add_argument("--sources", action="store_true", help="full citation of every source")
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Search and print; exit code 1 when nothing matches."""
    table = load_table()
    found = table.search(" ".join(arguments.words)) if arguments.words else list(table)
    if not found:
        say(f'Nothing matches "{" ".join(arguments.words)}"; try fewer or other words.')
        return 1
    bands = [band_label(b) for b in BANDS]
    header = ["id", "what", "unit", *bands, "kPa s/m2", "sources", "status"]
    rows = [_row(material) for material in found]
    parts = [
        text_table(header, rows, tuple(range(3, 4 + len(BANDS)))),
        "~ extrapolated, less sure. alpha: random-incidence coefficient; "
        "m2: absorption area of one item.",
        "kPa s/m2: flow resistivity of porous matter of known depth, which acts below about 250 Hz "
        "as that matter instead of by its coefficients; in brackets how far (root mean square) its "
        "own coefficients from 250 Hz up lie from the row's.",
    ]
    if arguments.sources:
        keys = sorted({key for material in found for key in material.sources})
        parts.append("\n".join(f"{key}: {table.citation(key).citation}" for key in keys))
    say("\n\n".join(parts))
    return 0


def _row(material: Material) -> list[str]:
    values = [
        ("~" if band in material.extrapolated else "") + f"{value:.2f}"
        for band, value in zip(BANDS, material.absorption, strict=True)
    ]
    sources = "; ".join(material.sources)
    first = [material.id, material.name, material.unit]
    return [*first, *values, _matter(material), sources, material.status]


def _matter(material: Material) -> str:
    """Flow resistivity and how well it was found; nothing where the matter is not known."""
    if material.flow_resistivity is None:
        return ""
    told = f"{1e-3 * material.flow_resistivity:.1f}"
    return told if material.fit_residual is None else f"{told} ({material.fit_residual:.2f})"
