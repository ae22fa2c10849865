"""The command that writes a scenario to start from: its options, and questions for what they leave open."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from batsim.cli.group import main
from batsim.cli.options import line_progress, refuse, say, written
from batsim.output import replacing

if TYPE_CHECKING:
    from batsim.scenario.text.located_data import LocatedData

GROUP = "group: reach, count: 12, voltage: 48 V, shifts: [early, late], mean_power: 2.4 kW, removal: side"
TODAY = "for: [reach], handling: side_rollers, stations: 1, batteries: 30, chargers: 18 x electronic_iuia"


@main.command()
@click.argument("file", type=click.Path(dir_okay=False))
@click.option("--site", help="Name of the site; that of the file where nothing is asked.")
@click.option("--currency", default="EUR", show_default=True, help="Three letters of ISO 4217.")
@click.option(
    "--shift", "shifts", multiple=True,
    help="A shift as a scenario states it, 'early: {days: Mon-Fri, from: 06:00, to: 14:00}'; day, early, late, night "
    "need no hours. May be repeated.",
)  # fmt: skip
@click.option(
    "--group", "groups", multiple=True,
    help=f"A truck group, such as '{GROUP}'; also class, battery (lead, gel, lithium), capacity, energy_per_shift, "
    "distance. May be repeated; with it nothing is asked, and what it leaves out is a guess.",
)  # fmt: skip
@click.option("--attendants", help="Attendants by shift, 'early: 1, night: 1'; elsewhere drivers exchange. Or 'none'.")
@click.option(
    "--today", multiple=True,
    help=f"What is there today, as a layout states it: '{TODAY}'; for all groups without 'for'. May be repeated.",
)  # fmt: skip
@click.option("--force", is_flag=True, help="Write over a file that is there.")
def new(file: str, force: bool, site: str | None, groups: tuple[str, ...], **options: Any) -> None:  # noqa: ANN401
    """Write a commented starter scenario from a survey; asks for what is not given.

    Its layouts are possible for each truck group, and their counts such that little is waited for in a few simulated
    weeks.
    """
    from batsim.cli.questions import ask  # noqa: PLC0415 - heavy
    from batsim.scenario.survey import read_survey  # noqa: PLC0415
    from batsim.study.starter import starter_scenario  # noqa: PLC0415

    path = Path(file)
    if path.exists() and not force:
        refuse(f"{file} is there already; choose another name or add --force")
    source = _stated(groups=groups, **options)
    if site is not None or groups:
        source.data["site"] = path.stem if site is None else site
    if not groups:
        ask(source)
    text = starter_scenario(read_survey(source), line_progress())
    with written("FILE", "choose another file"), replacing(path) as beside:
        beside.write_text(text, encoding="utf-8")
    say(f"wrote {file}; next: batsim check {file}, then batsim compare {file}")


def _stated(
    *, currency: str, shifts: tuple[str, ...], groups: tuple[str, ...], attendants: str | None, today: tuple[str, ...]
) -> "LocatedData":
    """What the options say, each value at its place in its option."""
    from batsim.scenario.survey import COMMAND, located_option  # noqa: PLC0415 - heavy
    from batsim.scenario.text.located_data import LocatedData  # noqa: PLC0415

    source = LocatedData(COMMAND, {"currency": currency})
    for number, text in enumerate(shifts, start=1):
        stated = located_option(f"--shift {number}", text)
        source.data.setdefault("shifts", {})
        for name in stated.data:
            source.put(("shifts", name), stated.part((name,)))
    for key, option, texts in (("groups", "--group", groups), ("today", "--today", today)):
        for number, text in enumerate(texts):
            source.data.setdefault(key, []).append(None)
            source.put((key, number), located_option(f"{option} {number + 1}", text))
    if attendants == "none":
        source.data["attendants"] = {}
    elif attendants is not None:
        source.put(("attendants",), located_option("--attendants", attendants))
    return source
