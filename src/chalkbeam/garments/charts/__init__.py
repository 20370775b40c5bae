"""The shop's size charts: read from a spreadsheet, stored as data files in the user's folder."""

from chalkbeam.garments.charts.reading import ChartProblem, ReadChart, read_chart
from chalkbeam.garments.charts.storing import import_chart, style_key

__all__ = ["ChartProblem", "ReadChart", "import_chart", "read_chart", "style_key"]
