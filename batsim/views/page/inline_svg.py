"""A figure as SVG inside a page: its own ids, text as text, a title and a description for those who cannot see it."""

import re
from collections.abc import Iterator
from contextlib import contextmanager
from html import escape
from io import StringIO
from typing import Any
from warnings import catch_warnings, filterwarnings

from matplotlib import rc_context
from matplotlib.figure import Figure

from batsim.views.page.svg_tiles import PATTERN, small_tile

SETTINGS: dict[Any, Any] = {
    "svg.fonttype": "none",
    "svg.hashsalt": "batsim",
    "text.parse_math": False,
    "font.family": "sans-serif",
}
"""Text stays text, a dollar sign in a name too; the same figure gives the same bytes."""
AROUND_IN = 0.03
"""Around what is drawn, for the page has its own margins. [in]"""
TAG = re.compile(r"<!--.*?-->|<[^>]*>", re.DOTALL)
REFERS = re.compile(r'(?:url\(|href=")#([^)"]+)')
"""What a part of a drawing names another part by."""
Step = tuple[int, int]
"""How far across and down, in tenths of a point."""


@contextmanager
def for_a_page() -> Iterator[None]:
    """Draw charts that go into a page: a dollar sign in a name begins no formula."""
    with rc_context(SETTINGS), catch_warnings():
        filterwarnings("ignore", message="Glyph .* missing from font")  # the reader's own fonts show the text
        yield


def inline_svg(figure: Figure, prefix: str, title: str, description: str) -> str:
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
        figure.savefig(
            text, format="svg", metadata={"Date": None, "Creator": None}, bbox_inches="tight", pad_inches=AROUND_IN
        )
    svg = text.getvalue()
    svg = svg[svg.index("<svg") :]
    svg = re.sub(r"\s*<metadata>.*?</metadata>", "", svg, flags=re.DOTALL)
    svg = re.sub(r"\s*\n\s*", "\n", svg)
    svg = PATTERN.sub(lambda pattern: small_tile(pattern[0]), svg)
    named, groups = set(REFERS.findall(svg)), list[bool]()
    svg = TAG.sub(lambda tag: _kept(tag[0], named, groups), svg)
    head, _, body = TAG.sub(lambda tag: _shorter(tag[0], prefix), svg).partition(">")
    body = re.sub(r"\n{2,}", "\n", body)
    head = re.sub(r'\s(?:width|height)="[^"]*"', "", head)
    label = f'role="img" aria-labelledby="{prefix}-title {prefix}-desc"'
    told = f'<title id="{prefix}-title">{escape(title)}</title><desc id="{prefix}-desc">{escape(description)}</desc>'
    return f"{head} {label}>{told}{body}".strip()


def _kept(tag: str, named: set[str], groups: list[bool]) -> str:
    """A tag without an id that nothing refers to; of groups that say nothing at all neither tag."""
    tag = re.sub(r' id="([^"]+)"', lambda found: found[0] if found[1] in named else "", tag)
    if tag == "</g>":
        return tag if groups.pop() else ""
    if tag.startswith("<g") and not tag.endswith("/>"):
        groups.append(tag != "<g>")
        return tag if groups[-1] else ""
    return "" if tag == "<g/>" else tag


def _shorter(tag: str, prefix: str) -> str:
    """Write a tag in fewer letters, with ids of its own; what stands between tags is text and stays as it is."""
    tag = re.sub(r"-?\d+\.\d{2,}", _short, tag)
    tag = re.sub(r'\bd="([MLz\d\s.-]*)"', lambda path: f'd="{short_path(path[1])}"', tag)
    tag = re.sub(r' transform="rotate\(-?0 [^)]*\)"', "", tag)
    tag = re.sub(r";? ?font-family: [^;\"]*", "", tag)  # that of the page, by whose width the text was laid out
    tag = re.sub(r' style="[^"]*"', lambda style: re.sub(r"([:;]) ", r"\1", style[0]), tag)
    tag = re.sub(r'\bid="([^"]+)"', rf'id="{prefix}-\1"', tag)
    tag = re.sub(r"url\(#([^)]+)\)", rf"url(#{prefix}-\1)", tag)
    return re.sub(r'(xlink:href|href)="#([^"]+)"', rf'\1="#{prefix}-\2"', tag)


def short_path(path: str) -> str:
    """Write the same lines in fewer letters: steps from point to point, and one for points on the way of another.

    Parameters
    ----------
    path
        Commands `M x y`, `L x y` and `z`, to a tenth of a point.

    Returns
    -------
    str
        The path in commands `M`, `m`, `h`, `v`, `l` and `z`.
    """
    parts: list[str | Step] = []
    here = began = (0, 0)
    for command, x, y in re.findall(r"([MLz])(?:\s*(-?[\d.]+)\s+(-?[\d.]+))?", path):
        if command == "z":
            parts.append("z")
            here = began
            continue
        before, here = here, (_tenths(x), _tenths(y))
        step = (here[0] - before[0], here[1] - before[1])
        if command == "M":
            parts.append(f"M{_number(here[0])} {_number(here[1])}")
            began = here
        elif step != (0, 0) or path.count("L") == 1:
            _go_on(parts, step)
    return "".join(part if isinstance(part, str) else _step(*part) for part in parts)


def _go_on(parts: list[str | Step], step: Step) -> None:
    """Add a step to a path, to its last one where that goes along the same axis in the same direction."""
    last = parts[-1] if parts else ""
    if not isinstance(last, str):
        level = last[1] == 0 == step[1] and last[0] * step[0] > 0
        if level or (last[0] == 0 == step[0] and last[1] * step[1] > 0):
            step = (last[0] + step[0], last[1] + step[1])
            parts.pop()
    parts.append(step)


def _step(across: int, down: int) -> str:
    """Write a step in tenths."""
    if down == 0:
        return f"h{_number(across)}"
    if across == 0:
        return f"v{_number(down)}"
    return f"l{_number(across)} {_number(down)}"


def _tenths(number: str) -> int:
    return round(10.0 * float(number))


def _number(tenths: int) -> str:
    """Write tenths as a number without what needs not be said."""
    sign, (whole, rest) = "-" if tenths < 0 else "", divmod(abs(tenths), 10)
    return f"{sign}{whole or ''}.{rest}" if rest else f"{sign}{whole}"


def _short(number: re.Match[str]) -> str:
    """Write a coordinate to a tenth of a point, which nobody sees; what is below 1, such as an opacity, to 3 digits."""
    value = float(number[0])
    return f"{value:.1f}".removesuffix(".0") if abs(value) >= 1.0 else f"{value:.3g}"
