"""Chart of measured values beside the law that was fitted to them: shares below each value, and quantiles."""

import math

import numpy as np

from batsim.display import counted
from batsim.statistics.fitting import FEW, FIXED, NOTHING, OBSERVED, Candidate, Fitted
from batsim.statistics.mixtures import Kind
from batsim.views.charts import chart_style as style
from batsim.views.charts import palette
from batsim.views.charts.names_fit import TOLD, in_lines, names_fit

SIZE: style.Inches = (style.COLUMN_IN, 3.5)
WIDTHS = (1.45, 1.0)
"""Of the two panels, one over the other. [-]"""
TITLE_LETTERS, NOTE_LETTERS, SIDE_LETTERS = 64, 54, 30
"""Letters in a line of the title, of the note above the left panel, and of that above the right one."""
MEASURED, LEGEND_PT = "measured", 36.0
ALONG = "A dot on the line: law and rows agree."
MOST_LISTED = 5
"""Outliers that are listed."""
PER_CENT = "%"
PEOPLE_SEE = {PER_CENT: 100.0}
"""What values are multiplied by before they are drawn or told, by the unit in which people see them."""


def fit_chart(fitted: Fitted, what: str = "Duration", unit: str = "min") -> style.Figure:
    """Draw measured values and the law that was fitted to them.

    Parameters
    ----------
    fitted
        What `batsim.fit` returns.
    what
        What was measured, for the title and the axes.
    unit
        Unit of the values; `%` of shares from 0 to 1.

    Returns
    -------
    matplotlib.figure.Figure
        To the left the share that is over by each value with a band that holds the whole true curve, and the law; to
        the right measured quantiles over those of the law. Where no law agrees, the best that was refused is drawn. The
        title says which law it is.
    """
    figure, what = style.new_figure(SIZE), names_fit([what], TOLD, 1)[0]
    figure.suptitle(
        in_lines(_finding(fitted, what, unit), TITLE_LETTERS), x=0.02, ha="left", fontsize=style.FINDING_PT,
        fontweight="bold", parse_math=False,
    )  # fmt: skip
    if fitted.law in (FIXED, NOTHING):
        style.nothing(figure.subplots(), _rows(fitted))
        return figure
    left, right = figure.subplots(1, 2, width_ratios=WIDTHS)
    _draw_shares(left, fitted, f"{what} [{unit}]", _factor(unit))
    _draw_quantiles(right, fitted, unit)
    return figure


def fit_text(fitted: Fitted, what: str = "Duration", unit: str = "min") -> str:
    """Say in words what `fit_chart` draws, with its numbers and what is odd about the values."""
    return f"{_finding(fitted, what, unit)}. {fit_notes(fitted, unit)}"


def fit_notes(fitted: Fitted, unit: str = "min") -> str:
    """Say what the title of `fit_chart` does not: how sure it is, how many rows, tests, what is odd about them."""
    said = [_limits(fitted, unit), _rows(fitted), *_tests(fitted), *_oddities(fitted, unit)]
    return " ".join(sentence if sentence.endswith("?") else f"{sentence}." for sentence in said if sentence)


def _factor(unit: str) -> float:
    """What values are multiplied by for a unit."""
    return PEOPLE_SEE.get(unit, 1.0)


def _number(value: float, unit: str, digits: int = 3) -> str:
    """A value in the unit in which people see it, without the unit."""
    return f"{_factor(unit) * value:.{digits}g}"


def _draw_shares(ax: style.Axes, fitted: Fitted, across: str, factor: float) -> None:
    """Shares that are over by each value: measured with band, and by the law."""
    style.frame(ax, "both")
    steps = fitted.steps()
    end = float(fitted.values.max())
    edges = factor * np.append(steps.at, max(end, steps.at[-1]))
    band = style.band(ax, edges, steps.low, steps.high, palette.GREY, "")
    (line,) = ax.step([edges[0], *edges], [0.0, *style.ended(steps.share)], where="post", color=palette.BLACK, lw=1.5)
    legend: style.Legend = {MEASURED: line, f"{100.0 * fitted.confidence:g} % band": band}
    law = fitted.drawn_law
    if law is not None:
        at, share = fitted.curve()
        (curve,) = ax.plot(factor * at, share, color=palette.BLUE, linestyle="--", linewidth=1.9, zorder=4.0)
        legend = {_law_words(fitted, law): curve, **legend}
    ax.set_ylim(0.0, 1.02)
    style.percent_ticks(ax)
    _words(ax, across, "Rows that last no longer [%]" if fitted.censored.any() else "Rows at or below [%]")
    style.legend_row(ax, legend, LEGEND_PT, lines=True)
    _note(ax, _rows(fitted), NOTE_LETTERS)


def _draw_quantiles(ax: style.Axes, fitted: Fitted, unit: str) -> None:
    """Measured quantiles over those of the law."""
    law, measured = (_factor(unit) * points for points in fitted.quantile_points())
    if not law.size:
        style.nothing(ax, "No law could be fitted.")
        return
    style.frame(ax, "both")
    most = 1.05 * max(float(law.max()), float(measured.max()))
    ax.plot([0.0, most], [0.0, most], color=palette.BLUE, linestyle="--", linewidth=1.5)
    ax.plot(law, measured, color=palette.BLACK, marker="o", linestyle="", markersize=3.0, markerfacecolor="none")
    ax.set_xlim(0.0, most)
    ax.set_ylim(0.0, most)
    _words(ax, f"Quantile of the law [{unit}]", f"Measured quantile [{unit}]")
    _note(ax, ALONG, SIDE_LETTERS)


def _words(ax: style.Axes, across: str, up: str) -> None:
    """What is drawn along both axes of a small panel."""
    ax.set_xlabel(across, fontsize=style.WORD_PT, parse_math=False)
    ax.set_ylabel(up, fontsize=style.WORD_PT)


def _note(ax: style.Axes, text: str, letters: int) -> None:
    """Note above a panel."""
    ax.set_title(in_lines(text, letters), loc="left", fontsize=style.NOTE_PT, color="0.3", parse_math=False)


def _law_words(fitted: Fitted, law: Candidate) -> str:
    """What the line of a law is."""
    return f"{law.law} law" if fitted.law == law.law else f"{law.law} law, refused"


def _finding(fitted: Fitted, what: str, unit: str) -> str:
    """Which law it is, as a sentence without its full stop."""
    mean = f"mean {_number(fitted.mean.mean, unit)} {unit}"
    if fitted.law == NOTHING:
        return f"{what}: nothing was seen to its end"
    if fitted.law == FIXED:
        return f"{what} is always {_number(fitted.mean.mean, unit, 4)} {unit}"
    if fitted.law == OBSERVED:
        why = "no law agrees with what was measured" if fitted.candidates else "too few different rows for a law"
        return f"{what}, {mean}: {why}, so it is drawn as observed"
    stated = (f"{key} {_amount(key, value.mean, unit)}" for key, value in fitted.parameters.items())
    return f"{what} follows {_article(fitted.law)} law: {', '.join(stated)}"


def _limits(fitted: Fitted, unit: str) -> str:
    """Between what its parameters, or the mean where there are none, may lie."""
    known = fitted.parameters or {"mean": fitted.mean}
    said = [
        f"{key} {_number(interval.low, '' if key == 'cv' else unit)} to {_amount(key, interval.high, unit)}"
        for key, interval in known.items()
        if math.isfinite(interval.low) and interval.low < interval.high
    ]
    return f"{100.0 * fitted.confidence:g} % intervals: {', '.join(said)}" if said else ""


def _amount(key: str, value: float, unit: str) -> str:
    """A parameter with its unit; a coefficient of variation has none."""
    return f"{value:.3g}" if key == "cv" else f"{_number(value, unit)} {unit}"


def _article(law: str) -> str:
    """Name of a law behind its article."""
    return f"an {law}" if law[0] == "e" else f"a {law}"


def _rows(fitted: Fitted) -> str:
    """How many rows stand behind it."""
    cut = int(fitted.censored.sum())
    rows = counted(fitted.values.size, "row") + (f", {cut:,} of them cut off before their end" if cut else "")
    return rows + (f"; fewer than {FEW} seen to their end: its numbers are ranges" if fitted.few else "")


def _tests(fitted: Fitted) -> list[str]:
    """How the laws that were tried stand to the rows."""
    tested = [each for each in fitted.candidates if math.isfinite(each.p)]
    refused = ", ".join(f"{each.law} (p {each.p:.2g})" for each in tested if each.law != fitted.law)
    chosen = fitted.chosen
    passes = f"Anderson and Darling's test does not refuse it (p {chosen.p:.2g})" if chosen else ""
    return [passes, f"It refuses {refused}" if refused else ""]


def _oddities(fitted: Fitted, unit: str) -> list[str]:
    """What is odd about the values."""
    said = []
    if fitted.rounded_to is not None:
        said.append(f"Rows are rounded to {_number(fitted.rounded_to, unit)} {unit}, which the test allows for")
    if fitted.zeros:
        said.append(f"{counted(fitted.zeros, 'row')} of nothing")
    if fitted.outliers:
        listed = ", ".join(_number(value, unit, 4) for value in fitted.outliers[-MOST_LISTED:])
        far = counted(len(fitted.outliers), "row")
        said.append(f"Too far from the law, kept all the same: {far} ({listed} {unit})")
    if fitted.mixture is not None:
        one, other = (_kind(kind, unit) for kind in fitted.mixture.kinds)
        said.append(f"Two kinds agree better than one law: {one}, {other}; were two things logged as one?")
    return said


def _kind(kind: Kind, unit: str) -> str:
    """Such as `70 % about 3.2 min`."""
    return f"{100.0 * kind.share:.0f} % about {_number(kind.mean, unit)} {unit} (cv {kind.cv:.2g})"
