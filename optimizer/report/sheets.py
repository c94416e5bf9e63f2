"""The drawings of a report: the room as a whole, and one per surface that carries pieces."""

from optimizer.drawings.ceiling import ceiling_plan
from optimizer.drawings.elevations import elevations
from optimizer.drawings.faces import is_level
from optimizer.drawings.plan_view import plan_view
from optimizer.drawings.section import section
from optimizer.drawings.style import Picture
from optimizer.results.model import Plan


def room_pictures(plan: Plan, units: str = "m") -> list[Picture]:
    """Drawings of the room as a whole: from above, and cut along the middle."""
    return [plan_view(plan, units, as_figure=True), section(plan, units, as_figure=True)]


def surface_pictures(plan: Plan, units: str = "m") -> dict[str, Picture]:
    """The drawing of each surface by its name: elevations, ceiling plan, plan for the floor."""
    surfaces = plan.project.room.surfaces
    seen = [s.name for s in surfaces if not is_level(s) and not s.is_floor]
    pictures = dict(zip(seen, elevations(plan, units, as_figure=True), strict=True))
    level = [s.name for s in surfaces if is_level(s) and s.is_ceiling]
    if level:
        pictures |= dict.fromkeys(level, ceiling_plan(plan, units, as_figure=True))
    return pictures
