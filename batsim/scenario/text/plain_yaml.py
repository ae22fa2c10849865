"""Data as the text of a scenario file: short blocks on one line, text that looks like a number in quotes."""

import os.path
import re
from collections.abc import Mapping
from pathlib import Path as FilePath
from typing import Any

import yaml

from batsim.scenario.text.located_data import Path
from batsim.scenario.text.yaml_text import read_text

WIDTH, SHORT = 120, 80
"""Characters of a line, and of a block or list that stands on one line, indentation and key left out."""
LONG = 12
"""Entries of a list of single values above which it fills lines."""
LIKE_A_NUMBER = re.compile(r"[-+]?\.?[0-9][-+.:_0-9a-fox]*", re.IGNORECASE)
"""Text that YAML, of one edition or another, takes for a number, a time or a date."""


class _Plain(yaml.SafeDumper):
    """Writes nothing by reference, text that looks like a number in quotes, and what is short on one line."""

    def ignore_aliases(self, data: object) -> bool:
        return True

    def represent_text(self, text: str) -> yaml.ScalarNode:
        """Text; PyYAML itself puts words such as `no` in quotes."""
        style = "'" if LIKE_A_NUMBER.fullmatch(text) else None
        return self.represent_scalar("tag:yaml.org,2002:str", text, style=style)

    def serialize_node(self, node: yaml.Node, parent: yaml.Node | None, index: object) -> None:
        if isinstance(node, yaml.CollectionNode) and node.flow_style:  # it holds nothing but single values
            values = [value for entry in node.value for value in (entry if isinstance(entry, tuple) else (entry,))]
            short = sum(len(value.value) + len(": ") for value in values) <= SHORT
            node.flow_style = short or (isinstance(node, yaml.SequenceNode) and len(values) > LONG)
        super().serialize_node(node, parent, index)


_Plain.add_representer(str, _Plain.represent_text)


def yaml_text(data: Mapping[str, Any], notes: Mapping[Path, str] | None = None) -> str:
    """Write data as YAML.

    Parameters
    ----------
    data
        Blocks, lists, text and numbers.
    notes
        By the path of a value: what stands as a comment at the end of its line.
    """
    text = yaml.dump(
        dict(data), Dumper=_Plain, sort_keys=False, allow_unicode=True, width=WIDTH, default_flow_style=None
    )
    if not notes:
        return text
    places, lines = read_text(text, ""), text.splitlines()
    by_line: dict[int, list[str]] = {}
    for path, note in notes.items():
        by_line.setdefault(places.location(path, of_key=True).line - 1, []).append(note)
    for number, those in by_line.items():
        lines[number] += f"  # {'; '.join(dict.fromkeys(those))}"
    return "".join(f"{line}\n" for line in lines)


def seen_from(folder: FilePath, file: FilePath) -> str:
    """Name of a file from a folder; where a link stands for either folder, from the folder itself."""
    return FilePath(os.path.relpath(file.parent.resolve() / file.name, folder.resolve())).as_posix()
