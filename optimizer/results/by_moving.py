"""What no product can mend and a change of place can."""

from optimizer.acoustics.early_criteria import BY_MOVING
from optimizer.results.score_words import limits, number
from optimizer.results.scorecard import ScoreCard, ScoreRow


def by_moving(card: ScoreCard) -> list[str]:
    """One sentence for each remedy that would bring rows within their limits which the plan leaves
    outside because no product can lie where they come from."""
    found: dict[tuple[str, str], list[ScoreRow]] = {}
    for row in card.rows:
        _, mark, remedy = row.note.partition(BY_MOVING)
        if mark and not row.ok_after:
            found.setdefault((row.criterion, remedy), []).append(row)
    return [
        f"No product can mend this: {name}, {'; '.join(map(_told, rows))} (wanted: "
        f"{limits(rows[0])} {rows[0].unit}). Move {remedy}; it does not count in the excess."
        for (name, remedy), rows in found.items()
    ]


def _told(row: ScoreRow) -> str:
    return f"{row.where}, {number(row.after, row.unit)} {row.unit}"
