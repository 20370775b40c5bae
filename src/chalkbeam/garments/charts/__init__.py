"""The shop's own size charts: read from a spreadsheet, stored beside the program's garments."""

from chalkbeam.garments.charts.reading import ChartProblem, ReadChart, read_chart
from chalkbeam.garments.charts.storing import import_chart, style_key

__all__ = ["ChartProblem", "ReadChart", "import_chart", "read_chart", "style_key"]
