"""Figures and axes that notebooks show as pictures; loaded when something is drawn, since what draws is heavy."""

from io import BytesIO

from matplotlib.axes import Axes
from matplotlib.figure import Figure


class Chart(Figure):
    """Figure that notebooks show as a picture without asking for it."""

    def _repr_png_(self) -> bytes:
        buffer = BytesIO()
        self.savefig(buffer, format="png")
        return buffer.getvalue()


class ChartAxes(Axes):
    """Axes that notebooks show as the picture of their figure."""

    def _repr_png_(self) -> bytes:
        chart = self.get_figure(root=True)
        assert isinstance(chart, Chart)
        return chart._repr_png_()
