"""Chart of measured values beside a law: the finding, what is drawn, what is said of odd values, long names."""

from itertools import combinations

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg

import batsim
from batsim.statistics.fitting import AMOUNTS
from batsim.statistics.laws import LAWS
from batsim.views.charts.fit_chart import SIZE, fit_chart, fit_text

LONG = "Exchange of a reach truck with side rollers by the attendant of the late shift, $5 or $6, "


def draw(count, seed=1, law="gamma", parameters=(5.0, 0.5)):
    return LAWS[law].quantile(np.random.default_rng(seed).random(count), *parameters)


@pytest.fixture(scope="module")
def gamma():
    return batsim.fit(draw(412))


def panels(fitted, what="Exchange"):
    figure = fit_chart(fitted, what)
    FigureCanvasAgg(figure).draw()
    return figure, figure.axes


def test_what_is_drawn(gamma):
    """Measured steps from none to all, the law's line, its quantiles beside measured ones."""
    figure, (left, right) = panels(gamma)
    measured, law = left.get_lines()
    diagonal, dots = right.get_lines()

    assert figure.get_suptitle().replace("\n", " ") == (
        f"Exchange follows a gamma law: mean {gamma.mean.mean:.3g} min, cv {gamma.parameters['cv'].mean:.3g}"
    )
    assert measured.get_ydata()[[0, -1]].tolist() == [0.0, 1.0]
    assert law.get_ydata() == pytest.approx(gamma.below(law.get_xdata()))
    assert np.array_equal(diagonal.get_xdata(), diagonal.get_ydata())
    assert dots.get_ydata().tolist() == gamma.quantile_points()[1].tolist()
    assert [text.get_text() for text in left.get_legend().get_texts()] == ["gamma law", "measured", "95 % band"]
    assert (left.get_xlabel(), right.get_ylabel()) == ("Exchange [min]", "Measured quantile [min]")


def test_it_is_said_in_words(gamma):
    low, high = (f"{end:.3g}" for end in gamma.mean[1:])
    p = gamma.chosen.p

    assert fit_text(gamma, "Exchange").startswith("Exchange follows a gamma law: mean ")
    assert f"95 % intervals: mean {low} to {high} min, cv " in fit_text(gamma)
    assert fit_text(gamma).endswith(f"412 rows. Anderson and Darling's test does not refuse it (p {p:.2g}).")


def test_odd_values_are_said():
    """Cut off, rounded, nothing, few, far out, two kinds."""
    values, ends = draw(200), np.random.default_rng(1).exponential(12.0, 200)
    cut = batsim.fit(np.minimum(values, ends), censored=values > ends, candidates=("exponential",))
    two = batsim.fit(np.concatenate([draw(100) / 5.0, 20.0 + draw(60) / 5.0]), candidates=AMOUNTS)

    assert f"200 rows, {int(cut.censored.sum())} of them cut off before their end." in fit_text(cut)
    assert panels(cut)[1][0].get_ylabel() == "Rows that last no longer [%]"
    assert "Rows are rounded to 1 min, which the test allows for." in fit_text(
        batsim.fit(np.rint(draw(100)), candidates=AMOUNTS)
    )
    assert "8 rows of nothing." in fit_text(batsim.fit([0.0] * 8 + draw(30).tolist(), candidates=("exponential",)))
    assert "20 rows; fewer than 30 seen to their end: its numbers are ranges." in fit_text(
        batsim.fit(draw(20), candidates=AMOUNTS)
    )
    assert "kept all the same: 1 row (80 min)." in fit_text(batsim.fit(np.append(draw(200), 80.0), candidates=AMOUNTS))
    assert "no law agrees with what was measured, so it is drawn as observed." in fit_text(two)
    assert fit_text(two).endswith("were two things logged as one?")
    assert panels(two)[1][0].get_legend().get_texts()[0].get_text().endswith(" law, refused")


def test_shares_are_drawn_and_told_in_per_cent():
    """Values, law, quantiles and numbers of shares from 0 to 1; a coefficient of variation stays as it is."""
    level = batsim.fit(np.clip(draw(200, parameters=(0.25, 0.1)), 0.0, 1.0), candidates="share")
    spread = batsim.fit(draw(200, parameters=(0.25, 0.3)), candidates=("gamma",))
    figure = fit_chart(level, "Level", "%")
    left, right = figure.axes
    measured, law = left.get_lines()

    assert measured.get_xdata()[-1] == pytest.approx(100.0 * level.values.max())
    assert law.get_ydata() == pytest.approx(level.below(law.get_xdata() / 100.0))
    assert right.get_lines()[1].get_ydata() == pytest.approx(100.0 * level.quantile_points()[1])
    assert left.get_xlabel() == "Level [%]"
    cv = spread.parameters["cv"]
    assert fit_text(spread, "Level", "%").startswith(
        f"Level follows a gamma law: mean {100.0 * spread.mean.mean:.3g} %, cv {cv.mean:.3g}. 95 % intervals: "
        f"mean {100.0 * spread.mean.low:.3g} to {100.0 * spread.mean.high:.3g} %, cv {cv.low:.3g} to {cv.high:.3g}. "
    )


def test_an_exponential_law_has_its_article():
    found = batsim.fit(draw(200, 1, "exponential", (5.0,)), candidates=("exponential",))

    assert fit_text(found, "Wait").startswith("Wait follows an exponential law: mean ")


@pytest.mark.parametrize(
    ("values", "censored", "says"),
    [
        (
            [],
            None,
            "Wait: nothing was seen to its end. 0 rows; fewer than 30 seen to their end: its numbers are ranges.",
        ),
        ([3.0, 4.0], [True, True], "Wait: nothing was seen to its end. 2 rows, 2 of them cut off before their end;"),
        ([4.0] * 40, None, "Wait is always 4 h. 40 rows."),
        ([1.0, 2.0], None, "Wait, mean 1.5 h: too few different rows for a law, so it is drawn as observed."),
    ],
)
def test_nothing_to_fit(values, censored, says):
    """It is said, and drawn as far as it can be."""
    found = batsim.fit(values, censored=censored)

    assert fit_text(found, "Wait", "h").startswith(says)
    assert panels(found, "Wait")[0].get_suptitle()


def test_long_names_collide_with_nothing(gamma):
    """At the width of a printed column, in type of 8 pt or more, dollars taken as they are."""
    figure, axes = panels(gamma, LONG)
    renderer = figure.canvas.get_renderer()
    texts = [figure._suptitle, *(ax.title for ax in axes), *(ax._left_title for ax in axes)]
    texts += [label for ax in axes for label in (ax.xaxis.label, ax.yaxis.label) if label.get_text()]
    texts += [text for ax in axes if ax.get_legend() for text in ax.get_legend().get_texts()]
    boxes = [(text.get_text(), text.get_window_extent(renderer)) for text in texts if text.get_text()]

    assert figure.get_size_inches().tolist() == list(SIZE)
    assert min(text.get_fontsize() for text in texts) >= 8.0
    assert [(one, other) for (one, a), (other, b) in combinations(boxes, 2) if a.overlaps(b)] == []
    assert [text for text, box in boxes if box.x0 < 0.0 or box.x1 > figure.bbox.x1 or box.y1 > figure.bbox.y1] == []
