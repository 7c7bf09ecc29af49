"""Charts: frames in, Vega-Lite specifications out, the same for page, PDF and print.

Widths are the container's unless a number is given; nothing here knows a page or a file.
"""

from fleetwear.reports.charts.bays import bay_chart
from fleetwear.reports.charts.calibration import calibration_chart
from fleetwear.reports.charts.consistency import consistency_chart
from fleetwear.reports.charts.drawing import Spec
from fleetwear.reports.charts.key import key_chart
from fleetwear.reports.charts.play import play_chart
from fleetwear.reports.charts.risk import risk_chart
from fleetwear.reports.charts.trends import cohort_chart, crossing_chart, growth_chart

__all__ = [
    "Spec",
    "bay_chart",
    "calibration_chart",
    "cohort_chart",
    "consistency_chart",
    "crossing_chart",
    "growth_chart",
    "key_chart",
    "play_chart",
    "risk_chart",
]
