"""The command that writes a scenario to start from: from options and answers, or one that is shipped."""

from os.path import normpath
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click
from click.core import ParameterSource

from batsim.cli.group import main
from batsim.cli.options import as_usage_error, line_progress, refuse, say, written
from batsim.display import listed
from batsim.output import replacing
from batsim.scenario.examples import beside, example, examples, is_study

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
@click.option(
    "--example", "shipped",
    help=f"A shipped scenario or study as it is, with the files that it needs, in place of a survey: "
    f"{', '.join(examples())}.",
)  # fmt: skip
@click.option("--force", is_flag=True, help="Write over a file that is there.")
@click.pass_context
def new(context: click.Context, /, file: str, force: bool, shipped: str | None, **options: Any) -> None:  # noqa: ANN401
    """Write a commented starter scenario from a survey; asks for what is not given. Or a shipped one: --example.

    Its layouts are possible for each truck group, and their counts such that little is waited for in a few simulated
    weeks.
    """
    path = Path(file)
    if shipped is not None:
        _refuse_survey(context)
        _write_example(path, shipped, force)
        return
    if path.exists() and not force:
        refuse(f"{file} is there already; choose another name or add --force")
    _write_starter(path, **options)


def _refuse_survey(context: click.Context) -> None:
    """Refuse what an example cannot take."""
    for parameter in context.command.params:
        surveyed = isinstance(parameter, click.Option) and parameter.name not in {"shipped", "force"}
        if surveyed and context.get_parameter_source(str(parameter.name)) is ParameterSource.COMMANDLINE:
            refuse(f"--example: takes no {parameter.opts[0]}, an example is written as it is; leave one of the two out")


def _write_example(path: Path, name: str, force: bool) -> None:
    """Write a shipped file and, at the same way from it, the files that it needs."""
    with as_usage_error("--example:"):
        source = example(name)
    needed = {Path(normpath(path.parent / way)): other for way, other in beside(source).items()}
    if len(path.parts) == 1 and any(place.parts[0] == ".." for place in needed):
        refuse(f"--example: {name} needs a file in the folder above; write it into one of its own: studies/{path}")
    if Path(normpath(path)) in needed:
        refuse(f"--example: {name} needs another file of this name beside it; choose another (got {path})")
    texts = {path: source, **needed}
    _want_free(texts, force)
    for place, text in texts.items():
        with written("FILE", "choose another file"), replacing(place) as new_one:
            new_one.write_bytes(text.read_bytes())
    after = "sweep" if is_study(source) else "compare"
    say(f"wrote {listed([str(place) for place in texts])}; next: batsim check {path}, then batsim {after} {path}")


def _want_free(texts: dict[Path, Path], force: bool) -> None:
    """Refuse to write over a file that says something else."""
    for place, text in texts.items():
        if place.exists() and not force and not (place.is_file() and place.read_bytes() == text.read_bytes()):
            refuse(f"{place} is there already; choose another name or folder, or add --force")


def _write_starter(path: Path, *, site: str | None, groups: tuple[str, ...], **options: Any) -> None:  # noqa: ANN401
    """Write a scenario from what the options say, and from answers."""
    from batsim.cli.questions import ask  # noqa: PLC0415 - heavy
    from batsim.scenario.survey import read_survey  # noqa: PLC0415
    from batsim.study.starter import starter_scenario  # noqa: PLC0415

    source = _stated(groups=groups, **options)
    if site is not None or groups:
        source.data["site"] = path.stem if site is None else site
    if not groups:
        ask(source)
    text = starter_scenario(read_survey(source), line_progress())
    with written("FILE", "choose another file"), replacing(path) as beside:
        beside.write_text(text, encoding="utf-8")
    say(f"wrote {path}; next: batsim check {path}, then batsim compare {path}")


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
