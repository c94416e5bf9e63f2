"""Set-ups with the treatment planned for each, in words and tables."""

from optimizer.drawings.style import Picture
from optimizer.faults import shown_name
from optimizer.positions import telling
from optimizer.positions.joint import Joint, Pair
from optimizer.positions.search import Found, Judged
from optimizer.positions.shortlist import ROUGH
from optimizer.positions.turning import FACINGS, old_name
from optimizer.report.more import Part
from optimizer.report.wording import Table, listed
from optimizer.results.proof import BEST
from optimizer.results.shopping import money
from optimizer.results.tables import text_table

RIGHT = (2, 3, 4, 5, 6, 7)
MEANING = (
    "Excess: weighted, over the limits (0 = all met), without and with the treatment planned for "
    "that set-up; it decides. Place: the score of the place (0 is best), without and with that "
    "treatment; it also knows how even the low end is and what moving the head changes, which the "
    "excess does not count."
)


def labels(joint: Joint) -> dict[str, Pair]:
    """The set-up as it is, then the others by their numbers."""
    return {telling.NOW: joint.now, **{str(n): p for n, p in enumerate(joint.others, 1)}}


def judged_of(joint: Joint) -> dict[str, Judged]:
    """The set-ups of the pairs."""
    return {label: pair.judged for label, pair in labels(joint).items()}


def best_label(joint: Joint) -> str:
    """What the winning set-up is called."""
    return next(label for label, pair in labels(joint).items() if pair is joint.best)


def joint_rows(joint: Joint) -> tuple[tuple[str, ...], list[list[str]]]:
    """Header and rows of the pairs: the place, what the plan leaves, what it costs."""
    currency = joint.now.plan.project.scenario.budget.currency
    rows = [
        [label, f"{p.judged.set_up.facing} wall", f"{p.plan.card.score_before:.3f}",
         f"{p.excess:.3f}", f"{p.judged.score:.3f}", f"{p.place:.3f}", _met(p),
         money(p.plan.cost_cents, currency), "best" if p is joint.best else ""]
        for label, p in labels(joint).items()
    ]  # fmt: skip
    header = ("set-up", "faces", "excess, untreated", "excess, treated", "place, untreated",
              "place, treated", "limits met", "spent", "")  # fmt: skip
    return header, rows


def joint_table(joint: Joint) -> str:
    """The same as text."""
    header, rows = joint_rows(joint)
    return text_table(header, rows, RIGHT)


def joint_in_words(joint: Joint) -> str:
    """Which pair wins, what staying put costs, and how sure that is."""
    if joint.best is joint.now:
        others = len(joint.others)
        text = (
            "Staying put is best: with the same money none of the other set-ups planned "
            f"({others}) leaves less excess over the limits."
            if others
            else "Staying put is all there is: no other set-up fits."
        )
        return _with_place(joint, text + (f" {_proof(joint)}" if others else ""))
    share = 100 * joint.staying_costs / joint.now.excess
    lead = f"Set-up {best_label(joint)} is best."
    if joint.staying_costs < _gap(joint) * joint.now.excess:
        lead = f"Set-up {best_label(joint)} is ahead, by too little to be sure of."
    text = (
        f"{lead} Staying put costs {joint.staying_costs:.3f}: with the same money an excess of "
        f"{joint.now.excess:.3f} would be left, there it is {joint.best.excess:.3f} ({share:.0f} % "
        f"less). {_proof(joint)}"
    )
    return _with_place(joint, text)


def turned_in_words(joint: Joint) -> str:
    """What the walls of the winning plan are in the room file; blank where nothing was turned."""
    facing, file = joint.best.judged.set_up.facing, shown_name(joint.now.plan.project.scenario.path)
    if facing == FACINGS[0]:
        return ""
    walls = [f"its {new} wall is the {old_name(new, facing)} wall" for new in FACINGS]
    return (
        f"This plan names walls as you face them now: {', '.join(walls)} of {file}. Its room file "
        "is turned in the same way."
    )


def _with_place(joint: Joint, text: str) -> str:
    """The text, and which set-up is the better place where that is another one."""
    label, pair = min(labels(joint).items(), key=lambda item: item[1].place)
    if pair is joint.best:
        return text
    return (
        f"{text} As a place, treated, {_named(label)} scores better ({pair.place:.3f} against "
        f"{joint.best.place:.3f})."
    )


def _gap(joint: Joint) -> float:
    """How far the plans may be from the best possible, the loosest of them."""
    return max(pair.plan.selection.gap for pair in labels(joint).values())


def _proof(joint: Joint) -> str:
    """How near the best possible the plans are, which is how near a tie may be."""
    gap = _gap(joint)
    if not gap < 1:
        return "Not every plan was proven good: judge the difference with that in mind."
    return (
        f"Every plan is proven within {100 * gap:.1f} % of {BEST} for its set-up; a "
        "smaller difference says nothing."
    )


def _met(pair: Pair) -> str:
    counted = [row for row in pair.plan.card.rows if row.weight > 0]
    return f"{sum(row.ok_after for row in counted)} of {len(counted)}"


def joint_parts(joint: Joint, found: Found, chart: Picture, units: str) -> list[Part]:
    """The parts of the report: pairs and map, tape marks, the places' scores and those of the
    walls."""
    columns, walls = judged_of(joint), telling.walls_of(found)
    header, rows = joint_rows(joint)
    pairs = Table("Each set-up with its own treatment", header, rows, RIGHT, kind="others")
    told = tuple(filter(None, (joint_in_words(joint), turned_in_words(joint), ROUGH, MEANING)))
    parts = [Part("Where to sit", told, pairs, chart), _tape(columns, best_label(joint), units)]
    notes = (telling.rules_of_thumb(found, units), *telling.notes(found))
    parts.append(_scores("Set-ups before treatment", columns, notes))
    if len(walls) > 1:
        why = (telling.why_walls(found, units), telling.searched_in_words(found, units))
        parts.append(_scores("The best of each wall that can be faced", walls, why))
    return parts


def _tape(columns: dict[str, Judged], best: str, units: str) -> Part:
    """Tape marks of the set-up that the report is for, after those of the room as it is."""
    kept = {label: columns[label] for label in dict.fromkeys((telling.NOW, best))}
    header, rows = telling.tape_rows(kept, units)
    told = f"Tape marks for {listed([_named(label) for label in kept])}."
    title = "Where everything goes"
    return Part(title, (told,), Table(title, header, rows, (2, 3, 4), kind="others"), None)


def _named(label: str) -> str:
    return f"set-up {label}" if label.isdigit() else f"the room {label}"


def _scores(title: str, columns: dict[str, Judged], told: tuple[str, ...]) -> Part:
    header, rows = telling.score_rows(columns)
    right = tuple(range(3, len(header)))
    return Part(title, told, Table(title, header, rows, right, kind="others"), None)
