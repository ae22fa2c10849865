"""Pages in a real browser, report and survey sheet: on a desk, on a phone, on paper, no pointer, hostile names."""

import base64
import json
import logging
import os
import re
import shutil
import subprocess
import unicodedata
from collections.abc import Callable, Iterator
from functools import cache
from html import escape
from pathlib import Path
from typing import Any, NamedTuple

import pytest
import yaml
from matplotlib.colors import to_rgb
from selenium.webdriver import ActionChains, Chrome, ChromeOptions
from selenium.webdriver.chrome.service import Service
from selenium.webdriver.common.keys import Keys

import batsim
from batsim.cli.pages import pdf_of
from batsim.decision.recommendation import recommend
from batsim.plan.plan import Plan, plan_layouts
from batsim.scenario.settings import Settings
from batsim.views.charts import palette
from batsim.views.charts.names_fit import names_fit
from batsim.views.page.report import report_html

SURVEYED = Path(__file__).parents[1] / "cases" / "surveyed.yaml"
REQUIRED = os.environ.get("CI", "") not in ("", "0", "false") or os.environ.get("BATSIM_BROWSER") == "required"
"""Whether a browser that is not there is a fault; where it is not, the tests are skipped."""

SCRIPT, QUOTES = "<script>window.hacked=1</script>", "\"quotes\" & 'more'"
HEBREW, SIGNS = "\u05e9\u05dc\u05d5\u05dd", "$x^2$ $y$"
BATTERY_SIGN = "\U0001f50b"
MIXED = f"{SCRIPT} {QUOTES} {HEBREW} abc {SIGNS} {BATTERY_SIGN}"
ROLES = ("shift", "group", "battery", "layout")
LONG = 190
"""Letters of a name without a space."""

MM = 96.0 / 25.4
"""A millimetre of paper. [CSS px]"""
SIDES_MM = 28.0
"""Margins to the left and to the right of the page together."""


class Format(NamedTuple):
    """What the page is shown on. [CSS px]"""

    width: int
    height: int
    media: str = "screen"

    @property
    def is_phone(self) -> bool:
        return self.media == "screen" and self.width < 600


class Paper(NamedTuple):
    """A sheet. [mm]"""

    width: float
    height: float

    @property
    def shown(self) -> Format:
        """Its room between the margins, as media that are looked at."""
        return Format(int((self.width - SIDES_MM) * MM), int(self.height * MM), "print")


A4, LETTER = Paper(210.0, 297.0), Paper(215.9, 279.4)
DESK, TABLET, PHONE, SMALL_PHONE = Format(1280, 900), Format(768, 1024), Format(390, 844), Format(320, 568)
FORMATS = {
    "desk": DESK, "tablet": TABLET, "phone": PHONE, "small phone": SMALL_PHONE, "A4": A4.shown, "Letter": LETTER.shown,
}  # fmt: skip


def need(programs: dict[str, str]) -> None:
    """Skip where programs are missing, or fail where they are required; the values are the packages they are in."""
    missing = [name for name in programs if shutil.which(name) is None]
    if missing:
        packages = " ".join(dict.fromkeys(programs[name] for name in missing))
        say = f"{' and '.join(missing)} not found: apt-get install {packages}"
        (pytest.fail if REQUIRED else pytest.skip)(say)


class Browser:
    """A browser that shows pages, and what can be asked of what it shows."""

    def __init__(self, driver: Chrome) -> None:
        self.driver = driver

    def ask(self, script: str) -> Any:
        """What a script returns."""
        return self.driver.execute_script(script)

    def command(self, name: str, **options: Any) -> Any:
        """A command of the browser's own protocol."""
        return self.driver.execute_cdp_cmd(name, options)

    def show(self, page: Path, on: Format = DESK, *, fresh: bool = False, opened: bool = False) -> "Browser":
        """Show a page on a format, what can be folded all closed or all opened; loaded anew only where that matters."""
        self.command(
            "Emulation.setDeviceMetricsOverride", width=on.width, height=on.height, mobile=on.is_phone,
            deviceScaleFactor=3 if on.is_phone else 1,
        )  # fmt: skip
        # No word for the screen: then the browser prints as for paper.
        self.command("Emulation.setEmulatedMedia", media="" if on.media == "screen" else on.media)
        if fresh or self.driver.current_url != page.as_uri():
            self.driver.get(page.as_uri())
        self.ask(f"for (const each of document.querySelectorAll('details')) each.open = {str(opened).lower()}")
        return self

    def heard(self, page: Path, on: Format) -> list[str]:
        """Console entries, and whatever is fetched beside the page itself, when it is loaded."""
        self.driver.get("about:blank")
        self.driver.get_log("browser")
        self.driver.get_log("performance")
        self.show(page, on, fresh=True, opened=True)
        self.ask("window.scrollTo(0, document.documentElement.scrollHeight)")
        said = [f"{entry['level']}: {entry['message']}" for entry in self.driver.get_log("browser")]
        events = [json.loads(entry["message"])["message"] for entry in self.driver.get_log("performance")]
        fetched = [each["params"]["request"]["url"] for each in events if each["method"] == "Network.requestWillBeSent"]
        assert page.as_uri() in fetched  # the log is on
        fetched += [each["params"]["url"] for each in events if each["method"] == "Network.webSocketCreated"]
        return said + [f"fetched: {url}" for url in fetched if url != page.as_uri()]

    def printed(self, page: Path, paper: Paper, to: Path) -> Path:
        """Print a page as the browser prints it, what can be folded closed."""
        self.show(page, DESK, fresh=True)
        inch = 25.4
        made = self.command("Page.printToPDF", paperWidth=paper.width / inch, paperHeight=paper.height / inch)
        to.write_bytes(base64.b64decode(made["data"]))
        return to


# --- pages ---


def long_name(role: str) -> str:
    """Letters without a space."""
    return role[0] * LONG


def mixed_name(role: str) -> str:
    """Markup, quotes, another direction, signs of formulas, a picture."""
    return f"{role} {MIXED}"


def hostile_text() -> str:
    """The surveyed site with two hostile names for each kind of thing; the supply is left unanswered."""
    site = yaml.safe_load(SURVEYED.read_text(encoding="utf-8"))
    (trucks,), lead, layouts = site["trucks"], site["batteries"]["lead"], site["layouts"]
    mixed, long = ({role: name(role) for role in ROLES} for name in (mixed_name, long_name))
    site["site"]["name"] = mixed_name("site")
    site["question"] = f"{mixed_name('question')} {long_name('question')}?"
    day = site["week"]["shifts"]["day"]
    site["week"]["shifts"] = {mixed["shift"]: day, long["shift"]: {**day, "from": "14:00", "to": "22:00"}}
    site["trucks"] = [
        {**trucks, "group": names["group"], "battery": names["battery"], "count": count, "shifts": [names["shift"]]}
        for names, count in ((mixed, 2), (long, 1))
    ]
    site["batteries"] = {names["battery"]: lead for names in (mixed, long)}
    attendants = {names["shift"]: 1 for names in (mixed, long)}
    stock = {mixed["battery"]: 4, long["battery"]: 2}
    site["layouts"] = {
        mixed["layout"]: {**layouts["stands"], "batteries": stock, "attendants": attendants},
        long["layout"]: layouts["in truck"],
    }
    del site["supply"]
    return json.dumps(site, ensure_ascii=False)


def planned(scenario: batsim.Scenario) -> Plan:
    """A short plan."""
    return plan_layouts(scenario, Settings(replications=2, weeks=0.3, warm_up_weeks=0.1, workers=1))


@cache
def hostile() -> Plan:
    """Plan of the site with hostile names."""
    return planned(batsim.read_scenario_text(hostile_text()))


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """One browser for all tests of this file."""
    need({"chromium": "chromium", "chromedriver": "chromium-driver"})
    options = ChromeOptions()
    options.binary_location = shutil.which("chromium") or ""
    for each in ("--headless=new", "--no-sandbox", "--disable-dev-shm-usage"):
        options.add_argument(each)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    driver = Chrome(options=options, service=Service(shutil.which("chromedriver")))
    yield Browser(driver)
    driver.quit()


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("pages")


def written(folder: Path, found: Plan, name: str, *, annex: bool = False) -> Path:
    """The page of a plan, with all its charts."""
    file, looked_at = folder / name, found.seen(recommend(found).layout, workers=1)
    file.write_text(report_html(found, looked_at=looked_at, annex=annex), encoding="utf-8")
    return file


@pytest.fixture(scope="module")
def plain_page(folder: Path) -> Path:
    """Page of the surveyed site."""
    return written(folder, planned(batsim.read(SURVEYED)), "plain.html")


@pytest.fixture(scope="module")
def hostile_page(folder: Path) -> Path:
    """Page of the site with hostile names."""
    return written(folder, hostile(), "hostile.html", annex=True)


@pytest.fixture(scope="module")
def survey_page(folder: Path) -> Path:
    """Survey sheet of the site with hostile names, on which something is missing."""
    file = folder / "survey.html"
    file.write_text(batsim.survey_html(batsim.survey(batsim.read_scenario_text(hostile_text()))), encoding="utf-8")
    return file


Small = Callable[[str], Path]


@pytest.fixture
def small(tmp_path: Path) -> Small:
    """Writes a page of a few words, for a fault that has to be found."""

    def write(body: str) -> Path:
        file = tmp_path / "small.html"
        view = '<meta name="viewport" content="width=device-width, initial-scale=1">'
        head = f'<meta charset="utf-8">{view}<title>small</title>'
        file.write_text(f'<!doctype html><html lang="en"><head>{head}</head><body>{body}</body></html>', "utf-8")
        return file

    return write


# --- nothing from outside ---


@pytest.mark.parametrize("on", [DESK, PHONE, A4.shown], ids=["desk", "phone", "paper"])
def test_the_console_is_empty_and_nothing_is_fetched(browser: Browser, plain_page: Path, on: Format) -> None:
    """No error, no warning, no request but for the page's own file."""
    assert browser.heard(plain_page, on) == []


def test_a_request_and_an_error_are_heard(browser: Browser, small: Small) -> None:
    """A picture from elsewhere and a script that fails."""
    heard = browser.heard(
        small('<img alt="x" src="http://127.0.0.1:9/x.png"><script>throw Error("here")</script>'), DESK
    )

    assert "fetched: http://127.0.0.1:9/x.png" in heard
    assert any(each.startswith("SEVERE: ") and "Error: here" in each for each in heard)


# --- nothing is wider than its bay ---

TOO_WIDE = """
const root = document.documentElement, found = [];
const wide = [...document.body.querySelectorAll('*')].filter(each => {
  if (each.closest('svg') || each.clientWidth <= 1 || each.scrollWidth <= each.clientWidth + 1) return false;
  return !(scrolls(each) && each.getAttribute('tabindex') === '0');
});
function scrolls(each) { return ['auto', 'scroll'].includes(getComputedStyle(each).overflowX); }
if (root.scrollWidth > root.clientWidth) found.push(`page: ${root.scrollWidth} in ${root.clientWidth} px`);
for (const each of wide.filter(one => !wide.some(other => other !== one && one.contains(other)))) {
  const words = each.textContent.trim().split(/\\s+/).join(' ').slice(0, 40);
  const what = scrolls(each) ? 'no keyboard reaches' : 'too narrow';
  found.push(`${what}: ${each.localName} '${words}': ${each.scrollWidth} in ${each.clientWidth} px`);
}
return found;
"""
"""What is wider than its bay: the page, or what is in an element that does not scroll, or not for the keyboard.

Of elements in one another the innermost is told.
"""


@pytest.mark.parametrize("on", FORMATS.values(), ids=FORMATS)
def test_nothing_is_wider_than_its_bay(browser: Browser, plain_page: Path, on: Format) -> None:
    """Neither the page nor a cell; what scrolls on its own is within reach of the keyboard; closed and opened."""
    assert browser.show(plain_page, on).ask(TOO_WIDE) == []
    assert browser.show(plain_page, on, opened=True).ask(TOO_WIDE) == []


@pytest.mark.parametrize("on", FORMATS.values(), ids=FORMATS)
def test_long_names_are_not_wider_than_their_bay(browser: Browser, hostile_page: Path, on: Format) -> None:
    """Names of 190 letters without a space are broken where their bay ends."""
    assert browser.show(hostile_page, on).ask(TOO_WIDE) == []
    assert browser.show(hostile_page, on, opened=True).ask(TOO_WIDE) == []


@pytest.mark.parametrize("on", FORMATS.values(), ids=FORMATS)
def test_a_survey_sheet_is_not_wider_than_its_bay(browser: Browser, survey_page: Path, on: Format) -> None:
    """On a tablet and a phone too, long names in its fields; nothing is fetched, no name runs."""
    assert browser.heard(survey_page, on) == []
    assert browser.show(survey_page, on).ask(TOO_WIDE) == []
    assert browser.ask("return window.hacked === undefined")


def test_a_survey_sheet_can_be_filled_in(browser: Browser, survey_page: Path) -> None:
    """A field takes words, a choice is ticked; both are large enough for a finger on a tablet."""
    browser.show(survey_page, TABLET, fresh=True)
    kinds = [browser.driver.find_elements("css selector", f"form input[type={kind}]") for kind in ("text", "radio")]
    field, choice = (each[-1] for each in kinds)
    field.send_keys("400 mm")
    choice.click()

    assert (field.get_property("value")[-6:], choice.is_selected()) == ("400 mm", True)
    assert field.rect["height"] >= LEAST_FIELD_PX
    assert choice.find_element("xpath", "..").rect["height"] >= LEAST_FIELD_PX


LEAST_FIELD_PX = 24
"""Height of what a finger has to meet: WCAG 2.2, 2.5.8. [CSS px]"""


@pytest.mark.parametrize("on", [DESK, PHONE, A4.shown], ids=["desk", "phone", "paper"])
def test_what_is_too_wide_is_found(browser: Browser, small: Small, on: Format) -> None:
    """A box, a word in a cell, a table that scrolls beyond the keyboard's reach; not one within its reach."""
    box = browser.show(small('<div style="width: 2000px">box</div>'), on, fresh=True).ask(TOO_WIDE)
    cell = '<table style="table-layout: fixed; width: 90px"><tr><td>word</td><td>{}</td></tr></table>'
    word = browser.show(small(cell.format("w" * 30)), on, fresh=True).ask(TOO_WIDE)
    wide = '<div style="overflow-x: auto"{}><p style="width: 2000px">wide</p></div>'
    beyond = browser.show(small(wide.format("")), on, fresh=True).ask(TOO_WIDE)
    within = browser.show(small(wide.format(' tabindex="0"')), on, fresh=True).ask(TOO_WIDE)

    assert any(re.fullmatch(rf"page: 20\d\d in {on.width} px", each) for each in box)
    assert any(each.startswith(f"too narrow: td '{'w' * 30}': ") for each in word)
    assert [each.split(":")[0] for each in beyond] == ["no keyboard reaches"]
    assert within == []


# --- structure ---

OUT_OF_ORDER = """
const found = [], all = what => [...document.querySelectorAll(what)], words = each => each.textContent.trim();
const told = id => id && document.getElementById(id) ? words(document.getElementById(id)) : '';
const named = each => (each.getAttribute('aria-label') || '').trim() ||
  (each.getAttribute('aria-labelledby') || '').split(/\\s+/).map(told).join(' ').trim();
for (const what of ['h1', 'main', 'body > header', 'body > footer', 'nav'])
  if (all(what).length !== 1) found.push(`${all(what).length} of ${what}`);
let level = 0;
for (const each of all('h1, h2, h3, h4, h5, h6')) {
  const next = Number(each.localName[1]);
  if (next > level + 1) found.push(`${each.localName} after h${level}: ${words(each)}`);
  if (!words(each)) found.push(`${each.localName} without words`);
  level = next;
}
for (const each of all('table')) {
  const caption = each.caption && words(each.caption);
  if (!caption && !named(each)) found.push(`table without a caption: ${words(each).slice(0, 30)}`);
}
for (const each of all('th'))
  if (!['col', 'row', 'colgroup', 'rowgroup'].includes(each.scope)) found.push(`th without scope: ${words(each)}`);
for (const each of all('svg'))
  if (each.getAttribute('role') !== 'img' || !named(each)) found.push(`svg without role and name: ${each.id}`);
const ids = all('[id]').map(each => each.id);
for (const id of new Set(ids)) if (ids.filter(each => each === id).length > 1) found.push(`id twice: ${id}`);
for (const each of all('a[href]:not([download])'))
  if (!each.hash || !document.getElementById(decodeURIComponent(each.hash.slice(1))))
    found.push(`link to nowhere: ${each.getAttribute('href')}`);
for (const each of all('nav')) if (!named(each)) found.push('nav without a name');
for (const what of ['nav', 'aside', 'section, [role=region]', 'form']) {
  const names = all(what).filter(each => each.localName !== 'section' || named(each)).map(named);
  if (names.length > 1 && (new Set(names).size < names.length || names.includes('')))
    found.push(`${what}, twice or without a name: ${names.filter((name, n) => !name || names.indexOf(name) < n)}`);
}
return found;
"""
"""What a screen reader would stumble over."""


def test_title_and_language(browser: Browser, plain_page: Path) -> None:
    """The title is the name of the site; the language is English."""
    browser.show(plain_page)

    assert browser.driver.title == batsim.read(SURVEYED).site.name
    assert browser.ask("return document.documentElement.lang") == "en"


@pytest.mark.parametrize("which", ["plain_page", "hostile_page"])
def test_the_page_is_in_order(browser: Browser, which: str, request: pytest.FixtureRequest) -> None:
    """Landmarks, headings, captions, scopes, names of pictures, ids, links."""
    assert browser.show(request.getfixturevalue(which)).ask(OUT_OF_ORDER) == []


def test_pictures_have_names_and_descriptions(browser: Browser, plain_page: Path) -> None:
    """As the browser tells them to a screen reader, each its own."""
    browser.show(plain_page, opened=True)
    pictures = [each for each in browser.driver.find_elements("css selector", "svg") if each.is_displayed()]
    names = [each.accessible_name for each in pictures]

    assert len(names) >= 5
    assert {each.aria_role for each in pictures} <= {"img", "image", "graphics-document"}
    assert all(names)
    assert len(set(names)) == len(names)


def test_disorder_is_found(browser: Browser, small: Small) -> None:
    """Each kind once."""
    body = (
        '<header></header><nav></nav><main><h1 id="a">A</h1><h3 id="a">B</h3><table><tr><th>C</th></tr></table>'
        '<svg id="d" role="img"></svg><a href="#none">E</a><section aria-label="F"></section>'
        '<div role="region" aria-label="F"></div><div role="region"></div></main>'
    )

    assert browser.show(small(body), fresh=True).ask(OUT_OF_ORDER) == [
        "0 of body > footer",
        "h3 after h1: B",
        "table without a caption: C",
        "th without scope: C",
        "svg without role and name: d",
        "id twice: a",
        "link to nowhere: #none",
        "nav without a name",
        "section, [role=region], twice or without a name: F,",
    ]


# --- contrast and size of text ---

TEXTS = """
const found = new Map();
const add = each => { const key = JSON.stringify({...each, words: ''}); if (!found.has(key)) found.set(key, each); };
const own = each => [...each.childNodes].filter(node => node.nodeType === 3).map(node => node.data).join(' ').trim();
const shown = {visibilityProperty: true, opacityProperty: true, contentVisibilityAuto: true};
const seen = each => each.checkVisibility(shown);
const up = each => { const chain = []; for (; each instanceof Element; each = each.parentElement) chain.push(each);
  return chain.map(one => getComputedStyle(one)); };
const bold = style => Number(style.fontWeight) >= 700;
const fade = (chain, what) => chain.reduce((share, style) => share * Number(style[what]), 1);
for (const each of document.body.querySelectorAll('*')) {
  const drawn = each.closest('svg') !== null, words = own(each);
  if (drawn && (!['text', 'tspan'].includes(each.localName) || !words || !seen(each.ownerSVGElement))) continue;
  if (!drawn && (!seen(each) || !each.getClientRects().length)) continue;
  const chain = up(each), name = each.localName;
  if (drawn) {
    const bay = each.getScreenCTM(), style = chain[0];
    const opacity = fade(chain, 'opacity') * Number(style.fillOpacity);
    const size = parseFloat(style.fontSize) * Math.hypot(bay.a, bay.b);
    add({name, drawn, opacity, colour: style.fill, size, bold: bold(style), backs: [], words: words.slice(0, 40)});
    continue;
  }
  const backs = chain.map(style => style.backgroundColor).filter(colour => colour !== 'rgba(0, 0, 0, 0)');
  const tell = (style, words) => add({name, drawn, opacity: fade(chain, 'opacity'), colour: style.color,
    size: parseFloat(style.fontSize), bold: bold(style), backs, words: words.slice(0, 40),
    picture: chain.some(one => one.backgroundImage !== 'none')});
  if (words) tell(chain[0], words);
  for (const side of ['::before', '::after']) {
    const style = getComputedStyle(each, side);
    if (!['none', 'normal', '""'].includes(style.content) && style.display !== 'none') tell(style, style.content);
  }
}
return [...found.values()];
"""
"""Text that can be seen, each look of it once: its element, colour, what lies behind it from near to far, size, weight.

Text before and after an element counts. The size is that on the screen, in CSS px.
"""

Colour = tuple[float, float, float]
WHITE: Colour = (255.0, 255.0, 255.0)
LARGE_PX, LARGE_BOLD_PX = 24.0, 18.66
"""18 pt, or 14 pt bold: large text."""


def colour_of(text: str) -> tuple[Colour, float]:
    """Colour of the computed style, 0 to 255, and its opacity."""
    number = r"([\d.]+)"
    match = re.fullmatch(rf"rgba?\({number}, {number}, {number}(?:, {number})?\)", text)
    assert match, f"no colour that can be computed with: {text}"
    red, green, blue, share = match.groups()
    return (float(red), float(green), float(blue)), 1.0 if share is None else float(share)


def over(front: Colour, share: float, back: Colour) -> Colour:
    """A colour seen through, before another."""
    red, green, blue = (share * one + (1.0 - share) * other for one, other in zip(front, back, strict=True))
    return red, green, blue


def luminance(colour: Colour) -> float:
    """Relative luminance of a colour of sRGB. (WCAG 2.2, definition of relative luminance)"""
    red, green, blue = (each / 255.0 for each in colour)
    linear = [each / 12.92 if each <= 0.04045 else ((each + 0.055) / 1.055) ** 2.4 for each in (red, green, blue)]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: Colour, other: Colour) -> float:
    """Contrast ratio. (WCAG 2.2, definition of contrast ratio)"""
    dark, light = sorted((luminance(one), luminance(other)))
    return (light + 0.05) / (dark + 0.05)


class Pair(NamedTuple):
    """A text and how it stands out."""

    ratio: float
    least: float
    where: str


def pair_of(text: dict[str, Any]) -> Pair:
    """Contrast of a text with what lies behind it. (WCAG 2.2, success criterion 1.4.3)

    Text in a chart is held against white.
    """
    assert not text.get("picture"), f"a picture lies behind {text}"
    back = WHITE
    for each in reversed(text["backs"]):
        back = over(*colour_of(each), back)
    colour, share = colour_of(text["colour"])
    large = text["size"] >= LARGE_PX or (text["bold"] and text["size"] >= LARGE_BOLD_PX)
    ratio = contrast(over(colour, share * text["opacity"], back), back)
    return Pair(ratio, 3.0 if large else 4.5, f"{text['name']} '{text['words']}' {text['colour']} {text['backs']}")


def worst(texts: list[dict[str, Any]]) -> Pair:
    """The text that stands out least, for what it needs."""
    return min((pair_of(each) for each in texts), key=lambda pair: pair.ratio / pair.least)


@pytest.mark.published(
    source="WCAG 2.2", where="relative luminance, contrast ratio: black on white 21:1, #767676 4.54:1"
)
def test_contrast_ratio() -> None:
    """What contrast checkers print for greys on white; 4.48 is not rounded up to 4.5 (success criterion 1.4.3)."""
    grey, darker = (119.0, 119.0, 119.0), (118.0, 118.0, 118.0)

    assert contrast((0.0, 0.0, 0.0), WHITE) == pytest.approx(21.0, abs=1e-9)
    assert contrast(WHITE, WHITE) == 1.0
    assert contrast(grey, WHITE) == contrast(WHITE, grey) == pytest.approx(4.48, abs=0.005)
    assert contrast(darker, WHITE) == pytest.approx(4.54, abs=0.005)
    assert luminance((255.0, 0.0, 0.0)) == pytest.approx(0.2126, abs=1e-12)
    assert colour_of("rgba(1, 2, 3, 0.5)") == ((1.0, 2.0, 3.0), 0.5)
    assert over((0.0, 0.0, 0.0), 0.25, WHITE) == (191.25, 191.25, 191.25)


@pytest.mark.parametrize("on", [DESK, PHONE, A4.shown], ids=["desk", "phone", "paper"])
def test_text_stands_out(browser: Browser, plain_page: Path, on: Format) -> None:
    """4.5:1, large text 3:1, in words and in charts, links too. (WCAG 2.2, success criterion 1.4.3)"""
    texts = browser.show(plain_page, on, opened=on.media == "screen").ask(TEXTS)
    white_on_bars = [each for each in texts if each["drawn"] and colour_of(each["colour"])[0] == WHITE]
    found = worst([each for each in texts if each not in white_on_bars])  # of what is drawn, the ground is not known
    seen = {"h1", "h2", "td", "th", "caption", "li", "text", *(["figcaption"] if on.media == "screen" else [])}

    assert seen <= {each["name"] for each in texts}
    assert on.media == "print" or "a" in {each["name"] for each in texts}
    assert found.ratio >= found.least, found


@pytest.mark.parametrize("colour", palette.COLOURS.values(), ids=list(palette.COLOURS))
def test_words_on_bars_stand_out(colour: str) -> None:
    """White on blue and black on the others, each 4.5:1 at least."""
    ground, ink = (tuple(255.0 * part for part in to_rgb(each)) for each in (colour, palette.ink_on(colour)))

    assert contrast(ground, ink) >= 4.5


def test_pale_text_is_found(browser: Browser, small: Small) -> None:
    """Grey on white, half seen through, on a dark ground, in a picture; large text may be paler."""

    def of(body: str) -> Pair:
        return worst(browser.show(small(body), fresh=True).ask(TEXTS))

    assert of('<p>well</p><p style="color: #999">pale</p>') == (
        pytest.approx(2.85, abs=0.005), 4.5, "p 'pale' rgb(153, 153, 153) []",
    )  # fmt: skip
    assert of('<p style="opacity: .4">faded</p>').ratio == pytest.approx(2.85, abs=0.005)
    assert of('<div style="background: #333"><p>dark</p></div>').ratio < 2
    assert of('<svg viewBox="0 0 9 9" width="90"><text y="9" fill="#999">drawn</text></svg>').least == 3.0
    assert of('<p style="font: bold 19px serif">large</p>').least == 3.0
    assert of('<p style="font: bold 18px serif">not large</p>').least == 4.5
    assert of('<style>p::before { content: "told"; color: #eee }</style><p>x</p>').where.startswith("p '\"told\"'")


LEAST_PX, LEAST_DRAWN_PX = 12.0, 6.0
"""Of text on a phone, and of text in a chart there, which can be made larger with two fingers. Our own choice."""


def smallest(texts: list[dict[str, Any]], *, drawn: bool) -> tuple[float, str]:
    """Size of the smallest text, and its words. [CSS px]"""
    return min((each["size"], each["words"]) for each in texts if each["drawn"] is drawn)


def test_text_on_a_phone_is_large_enough(browser: Browser, plain_page: Path) -> None:
    """Words are at least 12 px high, those in charts 6 px."""
    texts = browser.show(plain_page, PHONE, opened=True).ask(TEXTS)

    assert smallest(texts, drawn=False) >= (LEAST_PX, "")
    assert smallest(texts, drawn=True) >= (LEAST_DRAWN_PX, "")


def test_small_text_is_found(browser: Browser, small: Small) -> None:
    """As it is shown: a chart that shrinks takes its words along."""
    chart = '<svg viewBox="0 0 900 90" width="300"><text y="50" font-size="12">drawn</text></svg>'
    texts = browser.show(small(f'<p>well</p><p style="font-size: 11px">little</p>{chart}'), PHONE, fresh=True).ask(
        TEXTS
    )

    assert smallest(texts, drawn=False) == (11.0, "little")
    assert smallest(texts, drawn=True) == (pytest.approx(4.0), "drawn")


# --- hostile names ---


def spaced(text: str) -> str:
    """Words with one space between."""
    return " ".join(text.split())


@pytest.mark.parametrize("on", [DESK, PHONE], ids=["desk", "phone"])
def test_hostile_names_stay_text(browser: Browser, hostile_page: Path, on: Format) -> None:
    """They run nothing, ask for nothing, and stand in the page letter by letter."""
    heard = browser.heard(hostile_page, on)
    text = spaced(browser.ask("return document.body.innerText"))
    names = [name(role) for role in ROLES for name in (mixed_name, long_name)]

    assert heard == []
    assert browser.ask("return window.hacked === undefined")
    assert browser.ask("return [...document.scripts].filter(each => !each.closest('#replay')).length") == 0
    assert browser.driver.title == mixed_name("site")
    assert [
        name for name in [*names, mixed_name("site"), spaced(hostile().scenario.question)] if name not in text
    ] == []


def test_hostile_names_stay_text_in_charts(browser: Browser, hostile_page: Path) -> None:
    """Names of layouts beside the rows, as they are cut to fit."""
    browser.show(hostile_page)
    texts = "[...each.querySelectorAll('text')].map(text => text.textContent)"
    charts = browser.ask(f"return [...document.querySelectorAll('svg')].map(each => {texts})")
    lines = {line for name in names_fit(hostile().layouts) for line in name.split("\n")}
    drawn = [lines - {spaced(text) for text in chart} for chart in charts]

    assert len(lines) == 4
    assert len([missing for missing in drawn if not missing]) >= 2


def test_a_name_that_runs_is_found(browser: Browser, small: Small) -> None:
    """What would happen if names were not escaped."""
    browser.show(small(f"<p>{SCRIPT}</p>"), fresh=True)
    assert browser.ask("return window.hacked") == 1

    browser.show(small(f"<p>{escape(SCRIPT)}</p>"), fresh=True)
    assert browser.ask("return window.hacked === undefined")


# --- paper ---

POPPLER = {"pdftotext": "poppler-utils", "pdfinfo": "poppler-utils"}
NUMBER = r"\d+(?: ?/ ?\d+)?"
"""Number of a page, or of so many."""
UNSEEN = re.compile(r"[\s\u200b-\u200f\u202a-\u202e\u2066-\u2069]")
"""Spaces and signs of direction."""


def squeezed(text: str) -> str:
    """Text without what a line's end or a change of direction puts in; letters that are written as one apart."""
    return UNSEEN.sub("", unicodedata.normalize("NFKC", text))


def output_of(*arguments: object) -> str:
    """What a program prints."""
    return subprocess.run([str(each) for each in arguments], check=True, capture_output=True, encoding="utf-8").stdout


def texts_of(pdf: Path) -> list[str]:
    """Text of each page in the order in which it was laid out, without its number at the top or the bottom."""
    pages = output_of("pdftotext", "-raw", "-enc", "UTF-8", pdf, "-").split("\f")
    assert pages.pop() == ""
    return [re.sub(rf"\A{NUMBER}(?:\n|\Z)|\n{NUMBER}\Z", "", page.strip()) for page in pages]


def sizes_of(pdf: Path) -> list[tuple[float, float]]:
    """Width and height of each page. [mm]"""
    found = re.findall(
        r"^Page +\d+ size: +([\d.]+) x ([\d.]+) pts", output_of("pdfinfo", "-l", 9999, pdf), re.MULTILINE
    )
    return [(float(width) * 25.4 / 72.0, float(height) * 25.4 / 72.0) for width, height in found]


def are_of(paper: Paper, sizes: list[tuple[float, float]]) -> bool:
    """Whether all pages are of a paper, upright at first; pictures of the annex lie across."""
    upright = (pytest.approx(paper.width, abs=0.5), pytest.approx(paper.height, abs=0.5))
    return sizes[:2] == [upright] * 2 and all(size in (upright, upright[::-1]) for size in sizes)


def missing_on_paper(text: str) -> list[str]:
    """What the page says and the paper does not: names, what stands to be checked, cautions of every layout."""
    said = [long_name("question"), *(name(role) for role in ROLES for name in (mixed_name, long_name))]
    for each in hostile().layouts.values():
        said += [check.sentence for check in each.checks] + list(each.cautions)
    whole = squeezed(text)
    assert {HEBREW, HEBREW[::-1]} & {match[0] for match in re.finditer("[\u05d0-\u05ea]+", whole)}
    # Hebrew may stand in either direction, a picture may have no glyph: what stands before and after them is compared.
    parts = {each: re.split(f"{HEBREW}|{BATTERY_SIGN}", each) for each in said}
    return [each for each in said if any(squeezed(part) not in whole for part in parts[each])]


@pytest.mark.parametrize("paper", [A4, LETTER], ids=["A4", "Letter"])
def test_the_browser_prints_everything(browser: Browser, hostile_page: Path, tmp_path: Path, paper: Paper) -> None:
    """On the paper's size, no page empty, also what is folded on the screen."""
    need(POPPLER)
    pdf = browser.printed(hostile_page, paper, tmp_path / "page.pdf")
    pages = texts_of(pdf)

    assert are_of(paper, sizes_of(pdf))
    assert 5 < len(pages) < 100
    assert [number for number, text in enumerate(pages, 1) if not text] == []
    assert missing_on_paper("\n".join(pages)) == []


def test_the_command_lays_everything_out_on_paper(
    hostile_page: Path, tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    """The same page as PDF, on A4."""
    pytest.importorskip("weasyprint")
    need(POPPLER)
    caplog.set_level(logging.ERROR, logger="weasyprint")
    pdf = tmp_path / "page.pdf"
    pdf.write_bytes(pdf_of(hostile_page.read_text(encoding="utf-8"), "a4"))
    pages = texts_of(pdf)

    assert are_of(A4, sizes_of(pdf))
    assert 5 < len(pages) < 100
    assert [number for number, text in enumerate(pages, 1) if not text] == []
    assert missing_on_paper("\n".join(pages)) == []


def test_a_survey_sheet_on_paper_is_tagged(survey_page: Path, tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    """For screen readers; every name is there, no page is empty."""
    pytest.importorskip("weasyprint")
    need(POPPLER)
    caplog.set_level(logging.ERROR, logger="weasyprint")
    pdf = tmp_path / "sheet.pdf"
    pdf.write_bytes(pdf_of(survey_page.read_text(encoding="utf-8"), "a4"))
    pages = texts_of(pdf)

    assert re.search(r"^Tagged: +yes$", output_of("pdfinfo", pdf), re.MULTILINE)
    assert 5 < len(pages) < 40
    assert [number for number, text in enumerate(pages, 1) if not text] == []
    assert [role for role in ROLES[:3] if squeezed(long_name(role)) not in squeezed("".join(pages))] == []


@pytest.mark.parametrize("paper", ["a4", "letter"])
@pytest.mark.parametrize("site", ["", "kestrel-lane"])
def test_no_page_of_a_survey_sheet_is_nearly_empty(site: str, paper: str, tmp_path: Path) -> None:
    """Parts follow one another, the annex too."""
    pytest.importorskip("weasyprint")
    need(POPPLER)
    pdf = tmp_path / "sheet.pdf"
    sheet = batsim.survey(batsim.read(batsim.example(site))) if site else batsim.survey()
    pdf.write_bytes(pdf_of(batsim.survey_html(sheet), paper))

    assert [number for number, text in enumerate(texts_of(pdf), 1) if len(text.splitlines()) < SHORTEST_PAGE] == []


SHORTEST_PAGE = 15
"""Lines that a page of a survey sheet has at least."""


def test_no_answer_on_a_survey_sheet_is_cut_on_paper(tmp_path: Path) -> None:
    """One of more lines than its field would have: the last words of its breaks."""
    pytest.importorskip("weasyprint")
    need(POPPLER)
    breaks = [f"{hour:02}:00 for 10 min" for hour in range(7, 14)]
    site = yaml.safe_load(SURVEYED.read_text(encoding="utf-8"))
    site["week"]["shifts"]["day"]["breaks"] = breaks
    pdf = tmp_path / "sheet.pdf"
    sheet = batsim.survey(batsim.read_scenario_text(json.dumps(site)))
    pdf.write_bytes(pdf_of(batsim.survey_html(sheet), "a4"))

    assert squeezed(", ".join(breaks)) in squeezed("".join(texts_of(pdf)))


@pytest.mark.parametrize(("name", "paper"), [("a4", A4), ("letter", LETTER)])
def test_a_customer_gets_two_to_four_pages(name: str, paper: Paper, plain_page: Path, tmp_path: Path) -> None:
    """Upright, tagged, with an outline, none empty, without the annex, less than a megabyte, no text below 8 pt."""
    pytest.importorskip("weasyprint")
    need(POPPLER)
    pdf = tmp_path / "page.pdf"
    pdf.write_bytes(pdf_of(plain_page.read_text(encoding="utf-8"), name))
    pages, facts = texts_of(pdf), output_of("pdfinfo", pdf)

    assert 2 <= len(pages) <= 4
    assert [number for number, text in enumerate(pages, 1) if not text] == []
    assert are_of(paper, sizes_of(pdf))
    assert "All layouts side by side" not in "\n".join(pages)
    assert re.search(r"^Tagged: +yes$", facts, re.MULTILINE)
    outline = re.findall(r'<item page="\d+">([^<]*)</item>', output_of("pdftohtml", "-xml", "-stdout", "-i", pdf))
    assert outline[1:] == ["Answer", *PARTS]
    assert len(pdf.read_bytes()) < 1_000_000
    assert min(heights_of(pdf)) >= 8.0


STYLE = Path(batsim.__file__).parent / "views" / "page" / "report.css"
ROW_WORD = "row of a table"


@pytest.mark.parametrize("above_mm", range(205, 250, 5))
def test_no_row_of_a_table_stands_alone_on_a_page(above_mm: int, tmp_path: Path) -> None:
    """Wherever the page ends: its head and two rows stay together, and the last two."""
    pytest.importorskip("weasyprint")
    need(POPPLER)
    head = "<thead><tr><th>What</th></tr></thead>"
    rows = "".join(f"<tr><th>{ROW_WORD} {number}</th></tr>" for number in range(8))
    table = f"<table><caption>a caption</caption>{head}<tbody>{rows}</tbody></table>"
    style = f"<style>{STYLE.read_text(encoding='utf-8')}</style>"
    pdf = tmp_path / "page.pdf"
    pdf.write_bytes(pdf_of(f"{style}<main><p style='height: {above_mm}mm'>above</p>{table}</main>", "a4"))
    first, *after = [text.count(ROW_WORD) for text in texts_of(pdf)]

    assert first + sum(after) == 8
    assert 1 not in (first, *after)


SHORTEST_END = 25
"""Lines that the last page of a customer's paper has at least, of the sites below."""


@pytest.mark.slow
@pytest.mark.parametrize("paper", ["a4", "letter"])
@pytest.mark.parametrize("site", ["alder-street-joinery", "kestrel-lane"])
def test_the_last_page_holds_more_than_a_few_lines(site: str, paper: str, folder: Path, tmp_path: Path) -> None:
    """Three pages: no sheet of paper for what was left of the cautions."""
    pytest.importorskip("weasyprint")
    need(POPPLER)
    page, pdf = written(folder, planned(batsim.read(batsim.example(site))), f"{site}.html"), tmp_path / "page.pdf"
    pdf.write_bytes(pdf_of(page.read_text(encoding="utf-8"), paper))
    pages = texts_of(pdf)

    assert len(pages) == 3
    assert len(pages[-1].splitlines()) >= SHORTEST_END


def test_paper_with_the_annex_is_small_and_legible(plain_page: Path, tmp_path: Path) -> None:
    """Below a megabyte, of a small site: a large one takes twice as much. No text below 8 pt there either."""
    pytest.importorskip("weasyprint")
    need(POPPLER)
    html, pdf = plain_page.read_text(encoding="utf-8"), tmp_path / "page.pdf"
    pdf.write_bytes(pdf_of(html.replace("<body>", '<body class="with-annex">'), "a4"))

    assert len(pdf.read_bytes()) < MOST_OF_AN_ANNEX
    assert min(heights_of(pdf)) >= 8.0


MOST_OF_AN_ANNEX = 525_000
"""Bytes of the paper of the surveyed site with its annex: what it takes and a small margin."""
PARTS = ("The layouts, the best first", "Why", "What it costs in a year", "What to order", "Still open", "Cautions")
"""What follows the answer."""


def heights_of(pdf: Path) -> list[float]:
    """Sizes of the type of all words. [pt]"""
    told = output_of("pdftohtml", "-xml", "-stdout", "-i", "-zoom", 3, pdf)
    fonts = {name: float(size) / 3.0 for name, size in re.findall(r'<fontspec id="(\d+)" size="(\d+)"', told)}
    return [fonts[name] for name in re.findall(r'<text [^>]*font="(\d+)"', told)]


@pytest.mark.parametrize(("name", "paper"), [("a4", A4), ("letter", LETTER)])
def test_the_command_knows_two_papers(name: str, paper: Paper, tmp_path: Path) -> None:
    """Both in their true size."""
    pytest.importorskip("weasyprint")
    need(POPPLER)
    pdf = tmp_path / "page.pdf"
    pdf.write_bytes(pdf_of("<p>words</p>", name))

    assert sizes_of(pdf) == [(pytest.approx(paper.width, abs=0.5), pytest.approx(paper.height, abs=0.5))]


def test_what_is_missing_on_paper_is_found(browser: Browser, small: Small, tmp_path: Path) -> None:
    """A page that shows one long name and folds another away; an empty sheet but for its number."""
    need(POPPLER)
    body = (
        "<style>@page { @bottom-right { content: counter(page) ' / ' counter(pages) } }</style>"
        f"<p>{HEBREW}</p><p style='overflow-wrap: anywhere; break-after: page'>{long_name('shift')}</p>"
        "<p style='height: 9px; break-after: page'></p>"
        f"<details><summary>fold</summary>{long_name('group')}</details>"
    )
    pages = texts_of(browser.printed(small(body), A4, tmp_path / "page.pdf"))
    missing = missing_on_paper("\n".join(pages))

    assert long_name("shift") not in missing
    assert long_name("group") in missing
    assert [not text for text in pages] == [False, True, False]


# --- without a pointer ---

FOCUSED = """
const each = document.activeElement;
if (each === document.body || each === document.documentElement) return null;
const style = getComputedStyle(each);
return {name: each.localName, words: each.textContent.trim().split(/\\s+/).join(' ').slice(0, 60),
  marked: style.outlineStyle !== 'none' || style.boxShadow !== 'none',
  opened: each.localName === 'summary' ? each.parentElement.open : null};
"""


def walked(browser: Browser) -> list[dict[str, Any]]:
    """What the Tab key reaches from the top of the page, one after the other; Enter opens what is folded."""
    found: list[dict[str, Any]] = []
    for _ in range(300):
        ActionChains(browser.driver, duration=0).send_keys(Keys.TAB).perform()
        each = browser.ask(FOCUSED)
        if each is None:
            return found
        if each["name"] == "summary":
            ActionChains(browser.driver, duration=0).send_keys(Keys.ENTER).perform()
            each = {**browser.ask(FOCUSED), "was_open": each["opened"]}
        found.append(each)
    pytest.fail("the Tab key comes to no end")


def test_everything_can_be_reached_without_a_pointer(browser: Browser, plain_page: Path) -> None:
    """Links of the contents, and whatever is folded: Enter opens it; what is reached is marked."""
    browser.show(plain_page, fresh=True)
    links = browser.ask("return [...document.querySelectorAll('nav a')].map(each => each.textContent.trim())")
    folds = browser.ask("return document.querySelectorAll('summary').length")
    found = walked(browser)
    summaries = [each for each in found if each["name"] == "summary"]

    assert len(links) >= 5
    assert [each["words"] for each in found if each["name"] == "a"][: len(links)] == links
    assert len(summaries) == folds
    assert [each for each in summaries if each["was_open"] or not each["opened"]] == []
    assert [each for each in found if not each["marked"]] == []


def test_what_cannot_be_reached_is_found(browser: Browser, small: Small) -> None:
    """Of a link and two folds, what the Tab key is told to leave out is not reached."""
    body = (
        '<a href="#x">link</a><details id="x"><summary>one</summary>1</details>'
        '<details><summary tabindex="-1">two</summary>2</details>'
    )
    browser.show(small(body), fresh=True)

    assert [(each["name"], each["words"], each["opened"]) for each in walked(browser)] == [
        ("a", "link", None),
        ("summary", "one", True),
    ]


def test_a_link_of_the_contents_leads_to_its_part(browser: Browser, plain_page: Path) -> None:
    """Enter on it brings the part to the top of the window."""
    browser.show(plain_page, fresh=True)
    last = browser.driver.find_elements("css selector", "nav a")[-1]
    target = browser.ask("return [...document.querySelectorAll('nav a')].at(-1).hash.slice(1)")
    last.send_keys(Keys.ENTER)
    top = browser.ask(f"return document.getElementById('{target}').getBoundingClientRect().top")

    assert browser.ask("return location.hash") == f"#{target}"
    assert 0 <= top < DESK.height
