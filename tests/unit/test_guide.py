"""The guide: its examples read, it names what there is, and says nothing twice."""

import re
import shutil
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import yaml

import batsim
from batsim.scenario.json_schema import scenario_schema, study_schema

ROOT = Path(__file__).parents[2]
TEXTS = {path.stem: path.read_text(encoding="utf-8") for path in sorted((ROOT / "batsim" / "guide").glob("*.md"))}
README = (ROOT / "README.md").read_text(encoding="utf-8")
MOST_LINES = 150
CODE = re.compile(r"```.*?\n```|`[^`]+`", re.DOTALL)
EXAMPLES = [
    pytest.param(block, id=f"{topic} {number}")
    for topic, text in TEXTS.items()
    for number, block in enumerate(re.findall(r"```yaml\n(.*?)\n```", text, re.DOTALL), start=1)
]


@pytest.mark.parametrize("block", EXAMPLES)
def test_examples_read(tmp_path: Path, block: str) -> None:
    """Each block of YAML is a file as it stands, beside the scenarios that are shipped."""
    for path in (ROOT / "scenarios").glob("*.yaml"):
        shutil.copy(path, tmp_path)
    study = block.startswith("study:")
    file = tmp_path / "studies" / "mine.yaml" if study else tmp_path / "mine.yaml"
    file.parent.mkdir(exist_ok=True)
    file.write_text(block, encoding="utf-8")

    assert batsim.read_study(file) if study else batsim.read(file)


def parts(schema: dict[str, Any], definitions: dict[str, Any]) -> Iterator[dict[str, Any]]:
    """All forms that a value of a schema may have, itself first; of lists and names those of their entries."""
    while "$ref" in schema:
        schema = definitions[schema["$ref"].rpartition("/")[2]]
    yield schema
    for form in (*schema.get("anyOf", ()), *schema.get("oneOf", ()), *schema.get("allOf", ())):
        yield from parts(form, definitions)
    for inner in (schema.get("items"), schema.get("additionalProperties")):
        if isinstance(inner, dict):
            yield from parts(inner, definitions)


def keys_of(name: str, value: dict[str, Any], definitions: dict[str, Any]) -> set[str]:
    """A key at the top of a scenario and those right below it."""
    return {name}.union(*(part.get("properties", {}) for part in parts(value, definitions)))


SCHEMA = scenario_schema()
OBSERVED = {"unit", "step_column"}
"""Keys of a duration that was observed, for which the schema takes any."""


@pytest.mark.parametrize("name", SCHEMA["properties"])
def test_every_key_is_told(name: str) -> None:
    """Each of the first two levels of a scenario stands in some topic, as it is written."""
    told = {word for text in TEXTS.values() for code in CODE.findall(text) for word in re.findall(r"\w+", code)}

    assert keys_of(name, SCHEMA["properties"][name], SCHEMA["$defs"]) - told == set()


def test_keys_in_a_sentence_exist() -> None:
    """What a sentence shows of a scenario is YAML, and its first key is one of a scenario or of its parts."""
    parts_of = [part for schema in (SCHEMA, study_schema()) for part in (schema, *schema.get("$defs", {}).values())]
    known = {key for part in parts_of for key in part.get("properties", ())} | OBSERVED
    prose = re.sub(r"```.*?\n```", "", "\n\n".join(TEXTS.values()), flags=re.DOTALL)
    shown = [yaml.safe_load(code) for code in re.findall(r"`(\w+: [^`]+)`", prose)]

    assert len(shown) > 20
    assert [data for data in shown if not (isinstance(data, dict) and set(data) <= known)] == []


def test_names_of_python_exist() -> None:
    """As the package offers them."""
    named = {name for text in (README, *TEXTS.values()) for name in re.findall(r"`batsim\.([a-z_]+)\(", text)}

    assert len(named) > 5
    assert [name for name in named if not hasattr(batsim, name)] == []


def test_topics_are_short_and_begin_with_their_question() -> None:
    """Who prints one reads it."""
    assert [topic for topic, text in TEXTS.items() if len(text.splitlines()) > MOST_LINES] == []
    assert [topic for topic, text in TEXTS.items() if not text.partition("\n")[0].endswith("?")] == []


def test_nothing_is_told_twice() -> None:
    """No sentence stands in two places of the guide and the README."""
    proses = [re.sub(r"```.*?\n```", "", text, flags=re.DOTALL) for text in (README, *TEXTS.values())]
    sentences = [" ".join(one.split()) for prose in proses for one in re.split(r"[.:;](?=\s)|\n\n", prose)]

    assert [one for one, times in Counter(sentences).items() if times > 1 and len(one.split()) > 6] == []
