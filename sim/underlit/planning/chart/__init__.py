"""Fixtures over tanks: what each light gives on the substrate of each tank, and how far to dim it.

    from underlit.planning.chart import Target, lights, make_chart, tanks

    chart = make_chart(lights(["one.toml", "two.toml"]), tanks(["small.toml", "tall.toml"]), folder="out/chart")
    target = Target.of_ppfd(50)
    for row in chart.rows:
        print(row.light, row.tank, row.mean.value, target.setting(row).words)

Rows are stored at full power, so another target is arithmetic. What was traced is stored in the folder, row by row, and is
not traced again.
"""

from underlit.planning.chart.axes import ChartError, Light, TankSpot, lights, tanks
from underlit.planning.chart.chart import Chart, Progress, make_chart
from underlit.planning.chart.row import Misfit, Row
from underlit.planning.chart.target import Answer, Target

__all__ = [
    "Answer",
    "Chart",
    "ChartError",
    "Light",
    "Misfit",
    "Progress",
    "Row",
    "TankSpot",
    "Target",
    "lights",
    "make_chart",
    "tanks",
]
