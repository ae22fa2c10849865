"""A figure as SVG inside a page: its own ids, text as text, a title and a description for those who cannot see it."""

import re
from collections.abc import Iterator
from contextlib import contextmanager
from html import escape
from io import StringIO
from typing import TYPE_CHECKING, Any
from warnings import catch_warnings, filterwarnings

if TYPE_CHECKING:
    from matplotlib.figure import Figure

SETTINGS: dict[Any, Any] = {
    "svg.fonttype": "none",
    "svg.hashsalt": "batsim",
    "text.parse_math": False,
    "font.family": "sans-serif",
}
"""Text stays text, a dollar sign in a name too; the same figure gives the same bytes."""


@contextmanager
def for_a_page() -> Iterator[None]:
    """Draw charts that go into a page: a dollar sign in a name begins no formula."""
    from matplotlib import rc_context  # noqa: PLC0415 - heavy

    with rc_context(SETTINGS), catch_warnings():
        filterwarnings("ignore", message="Glyph .* missing from font")  # the reader's own fonts show the text
        yield


def inline_svg(figure: "Figure", prefix: str, title: str, description: str) -> str:
    """Write a figure as an SVG element.

    Parameters
    ----------
    figure
        What is drawn.
    prefix
        Goes before every id, so that several figures in one page do not share any; letters, digits and hyphens.
    title, description
        For a reader who cannot see it.

    Returns
    -------
    str
        The element, without declarations and without metadata.
    """
    text = StringIO()
    with for_a_page():
        figure.savefig(text, format="svg", metadata={"Date": None, "Creator": None}, bbox_inches="tight")
    svg = text.getvalue()
    svg = svg[svg.index("<svg") :]
    svg = re.sub(r"\s*<metadata>.*?</metadata>", "", svg, flags=re.DOTALL)
    svg = re.sub(r"-?\d+\.\d{2,}", _short, svg)
    svg = re.sub(r"font-family: [^;\"]*", "font-family: sans-serif", svg)
    svg = re.sub(r"\s*\n\s*", "\n", svg)
    svg = re.sub(r'\bid="([^"]+)"', rf'id="{prefix}-\1"', svg)
    svg = re.sub(r"url\(#([^)]+)\)", rf"url(#{prefix}-\1)", svg)
    svg = re.sub(r'(xlink:href|href)="#([^"]+)"', rf'\1="#{prefix}-\2"', svg)
    head, _, body = svg.partition(">")
    head = re.sub(r'\s(?:width|height)="[^"]*"', "", head)
    label = f'role="img" aria-labelledby="{prefix}-title {prefix}-desc"'
    named = f'<title id="{prefix}-title">{escape(title)}</title><desc id="{prefix}-desc">{escape(description)}</desc>'
    return f"{head} {label}>{named}{body}".strip()


def _short(number: re.Match[str]) -> str:
    """Write a coordinate to a tenth of a point, which nobody sees; what is below 1, such as an opacity, to 3 digits."""
    value = float(number[0])
    return f"{value:.1f}".removesuffix(".0") if abs(value) >= 1.0 else f"{value:.3g}"
