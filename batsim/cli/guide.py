"""The command that prints what is to be read: guide."""

from importlib.resources import files

import click

from batsim.cli.group import main
from batsim.cli.options import refuse, show

ENDING = ".md"
TOPICS = (
    "site", "groups", "batteries", "chargers", "arrangement", "comparing", "bottleneck", "deciding", "plan", "cost",
    "trust", "calibrating", "studies", "cluster", "queueing", "model",
)  # fmt: skip
"""In the order in which a newcomer needs them."""


@main.command()
@click.argument("topic", required=False)
def guide(topic: str | None) -> None:
    """Print what there is to read on a TOPIC, as Markdown; without one, list the topics."""
    folder = files("batsim") / "guide"
    if topic is None:
        titles = [(folder / f"{name}{ENDING}").read_text(encoding="utf-8").partition("\n")[0] for name in TOPICS]
        size = max(map(len, TOPICS))
        lines = [f"  {name:<{size}}  {title.lstrip('# ')}" for name, title in zip(TOPICS, titles, strict=True)]
        show("\n".join(["Topics, each printed by 'batsim guide TOPIC':", *lines]))
        return
    if topic not in TOPICS:
        refuse(f"there is no guide of this name; known: {', '.join(TOPICS)} (got {topic})")
    show((folder / f"{topic}{ENDING}").read_text(encoding="utf-8").rstrip("\n"))
