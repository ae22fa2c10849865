"""Figures and axes that notebooks show as pictures; loaded when something is drawn, since what draws is heavy."""

from io import BytesIO

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import ScalarFormatter


class Chart(Figure):
    """Figure that notebooks show as a picture without asking for it."""

    def _repr_png_(self) -> bytes:
        buffer = BytesIO()
        self.savefig(buffer, format="png")
        return buffer.getvalue()


class Thousands(ScalarFormatter):
    """Numbers beside an axis with a comma between thousands, as they stand in texts and tables."""

    def __call__(self, x: float, pos: int | None = None) -> str:
        """Text beside a tick."""
        text = super().__call__(x, pos)
        digits, point, rest = text.partition(".")
        return f"{int(digits):,}{point}{rest}" if digits.isascii() and digits.isdigit() else text


class ChartAxes(Axes):
    """Axes that notebooks show as the picture of their figure."""

    def _repr_png_(self) -> bytes:
        chart = self.get_figure(root=True)
        assert isinstance(chart, Chart)
        return chart._repr_png_()
