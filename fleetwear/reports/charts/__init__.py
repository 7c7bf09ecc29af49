"""Charts: frames in, Altair charts out, the same for page, PDF and print.

Widths are the container's unless a number is given; nothing here knows a page or a file.
"""

from fleetwear.reports.charts.bays import bay_chart
from fleetwear.reports.charts.calibration import calibration_chart
from fleetwear.reports.charts.key import key_chart
from fleetwear.reports.charts.play import play_chart
from fleetwear.reports.charts.risk import risk_chart

__all__ = ["bay_chart", "calibration_chart", "key_chart", "play_chart", "risk_chart"]
