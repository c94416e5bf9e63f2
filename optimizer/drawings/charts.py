"""All charts of results; each takes arrays and returns a Picture whose alt tells its finding."""

from optimizer.drawings.chart_budget import budget_chart, stages_chart
from optimizer.drawings.chart_decay import decay_chart
from optimizer.drawings.chart_early import early_chart
from optimizer.drawings.chart_measured import measured_chart
from optimizer.drawings.chart_modes import modes_chart
from optimizer.drawings.chart_response import response_chart
from optimizer.drawings.chart_sides import sides_chart

__all__ = [
    "budget_chart",
    "decay_chart",
    "early_chart",
    "measured_chart",
    "modes_chart",
    "response_chart",
    "sides_chart",
    "stages_chart",
]
