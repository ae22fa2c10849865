"""The command that prints what is to be read: guide."""

from importlib.resources import files

import click

from batsim.cli.group import main
from batsim.cli.options import refuse, show

ENDING = ".md"


@main.command()
@click.argument("topic", required=False)
def guide(topic: str | None) -> None:
    """Print what there is to read on a TOPIC, as Markdown; without one, list the topics."""
    folder = files("batsim") / "guide"
    topics = sorted(text.name.removesuffix(ENDING) for text in folder.iterdir() if text.name.endswith(ENDING))
    if topic is None:
        titles = [(folder / f"{name}{ENDING}").read_text(encoding="utf-8").partition("\n")[0] for name in topics]
        size = max(map(len, topics))
        lines = [f"  {name:<{size}}  {title.lstrip('# ')}" for name, title in zip(topics, titles, strict=True)]
        show("\n".join(["Topics, each printed by 'batsim guide TOPIC':", *lines]))
        return
    if topic not in topics:
        refuse(f"there is no guide of this name; known: {', '.join(topics)} (got {topic})")
    show((folder / f"{topic}{ENDING}").read_text(encoding="utf-8").rstrip("\n"))
