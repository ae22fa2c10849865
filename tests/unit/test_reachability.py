"""Nothing in the package is there for its tests alone: code is reached from commands, figures are asked for."""

import ast
import re
from collections import defaultdict
from functools import cache
from importlib import import_module
from pathlib import Path
from typing import NamedTuple

import batsim
from batsim.catalogue import FIGURES

ROOT = Path(__file__).parents[2]
PACKAGE = ROOT / "batsim"
EXCEPTIONS: dict[str, str] = {}
"""What nothing reaches yet, and why it is kept; at most five."""


class Uses(NamedTuple):
    """What a piece of code names."""

    names: set[str]
    """Plain names."""
    attributes: set[str]
    """Attributes, and words in quotes: `getattr` is given some."""
    patterns: set[str]
    """Forms of attributes that `getattr` is given, as regular expressions."""


class Definition(NamedTuple):
    """A function, class, method or constant of a module, with what it names."""

    module: str
    node: ast.AST
    owner: str | None
    """Class that a method belongs to."""
    uses: Uses


def uses_of(*nodes: ast.AST) -> Uses:
    """Names and attributes in pieces of code."""
    uses = Uses(set(), set(), set())
    for node in (inner for outer in nodes for inner in ast.walk(outer)):
        match node:
            case ast.Name(id=name):
                uses.names.add(name)
            case ast.Attribute(attr=name):
                uses.attributes.add(name)
            case ast.Constant(value=str(text)) if re.fullmatch(r"[\w.]+", text):
                uses.attributes.add(text)
            case ast.Call(func=ast.Name(id="getattr"), args=[_, ast.JoinedStr(values=parts), *_]):
                uses.patterns.add(
                    "".join(
                        str(getattr(part, "value", "")) if isinstance(part, ast.Constant) else ".+" for part in parts
                    )
                )
            case (
                ast.arg(annotation=ast.Constant(value=str(text)))
                | ast.AnnAssign(annotation=ast.Constant(value=str(text)))
                | ast.FunctionDef(returns=ast.Constant(value=str(text)))
            ):
                uses.names.update(uses_of(ast.parse(text, mode="eval")).names)
    return uses


def is_handed_on(node: ast.FunctionDef) -> bool:
    """Whether a decorator gives a function to somebody who calls it: a command, a validator, one form of several."""
    marks = {"command", "group", "register", "model_validator", "field_validator", "model_serializer"}
    uses = uses_of(*node.decorator_list)
    return bool(marks & (uses.names | uses.attributes))


class Module:
    """A module's definitions, what its names stand for, and what it does when it is loaded."""

    def __init__(self, file: Path) -> None:
        self.name = ".".join(file.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")
        tree = ast.parse(file.read_text(encoding="utf-8"))
        self.definitions: dict[str, Definition] = {}
        self.at_load: list[ast.AST] = []
        self.imported: dict[str, str] = {}
        for node in tree.body:
            self._take_in(node)
        for node in ast.walk(tree):
            if isinstance(node, ast.ImportFrom):
                self.imported |= {alias.asname or alias.name: f"{node.module}.{alias.name}" for alias in node.names}

    def _take_in(self, node: ast.stmt) -> None:
        match node:
            case ast.FunctionDef(name=name):
                # A function that is overloaded has several heads.
                heads = [self.definitions[name].node] if name in self.definitions else []
                self.definitions[name] = Definition(self.name, node, None, uses_of(*heads, node))
                if is_handed_on(node) or name.startswith("__"):
                    self.at_load.append(ast.Name(name))
            case ast.ClassDef():
                self._take_in_class(node)
            case ast.Assign(targets=[ast.Name(id=name)]) | ast.AnnAssign(target=ast.Name(id=name)):
                if name != "__all__":
                    self.definitions[name] = Definition(self.name, node, None, uses_of(node))
            case ast.Import() | ast.ImportFrom():
                pass
            case _:
                self.at_load.append(node)

    def _take_in_class(self, node: ast.ClassDef) -> None:
        """Methods that Python, a library or a notebook calls go with their class, the others stand for themselves."""
        own = getattr(import_module(self.name), node.name)
        outside = {name for base in own.__mro__ if not base.__module__.startswith("batsim") for name in dir(base)}
        methods = {
            inner.name: inner
            for inner in node.body
            if isinstance(inner, ast.FunctionDef)
            and not (inner.name.startswith(("__", "_repr_")) or inner.name in outside or is_handed_on(inner))
        }
        rest = [inner for inner in node.body if inner not in methods.values()]
        uses = uses_of(*node.bases, *node.keywords, *node.decorator_list, *rest)
        self.definitions[node.name] = Definition(self.name, node, None, uses)
        for name, method in methods.items():
            self.definitions[f"{node.name}.{name}"] = Definition(self.name, method, node.name, uses_of(method))


@cache
def modules() -> dict[str, Module]:
    """All modules of the package by name."""
    return {module.name: module for module in map(Module, sorted(PACKAGE.rglob("*.py")))}


@cache
def definitions() -> dict[str, Definition]:
    """All definitions by their dotted names."""
    return {
        f"{module.name}.{name}": definition
        for module in modules().values()
        for name, definition in module.definitions.items()
    }


def home_of(name: str) -> str:
    """Where a dotted name is defined, through modules that only hand it on."""
    module, _, last = name.rpartition(".")
    if name in definitions() or module not in modules() or last not in modules()[module].imported:
        return name
    return home_of(modules()[module].imported[last])


class Walk:
    """Everything that is reached from some names on."""

    def __init__(self) -> None:
        self.reached: set[str] = set()
        self.loaded: set[str] = set()
        self.attributes: set[str] = set()
        self.patterns: set[str] = set()
        self.methods: dict[str, list[str]] = defaultdict(list)
        for name, definition in definitions().items():
            if definition.owner:
                self.methods[f"{definition.module}.{definition.owner}"].append(name)

    def load(self, module: str) -> None:
        """Do what a module does when it is loaded."""
        if module in self.loaded or module not in modules():
            return
        self.loaded.add(module)
        self.follow(module, uses_of(*modules()[module].at_load))
        for target in modules()[module].imported.values():
            self.load(target if target in modules() else target.rpartition(".")[0])

    def reach(self, name: str) -> None:
        """Come to a definition and go on with what it names."""
        home = home_of(name)
        if home in self.reached or home not in definitions():
            return
        self.reached.add(home)
        definition = definitions()[home]
        self.load(definition.module)
        self.follow(definition.module, definition.uses, within=definition.owner)
        for method in self.methods[home]:
            if self.is_named(method.rpartition(".")[2]):
                self.reach(method)

    def is_named(self, attribute: str) -> bool:
        """Whether code that was reached names such an attribute."""
        return attribute in self.attributes or any(re.fullmatch(form, attribute) for form in self.patterns)

    def follow(self, module: str, uses: Uses, within: str | None = None) -> None:
        """Go to what a piece of code of a module names."""
        imported = modules()[module].imported
        for name in uses.names:
            self.reach(imported.get(name, f"{module}.{name}"))
        named = {imported.get(name, name) for name in uses.names | uses.attributes} & set(modules())
        for attribute in uses.attributes:
            for other in named:
                self.reach(f"{other}.{attribute}")
        # A form that begins with anything but a word, such as `_{event}`, is of its own class.
        forms = {form for form in uses.patterns if not form.startswith("_.")}
        if uses.patterns - forms:
            for method in self.methods[f"{module}.{within}"]:
                self.reach(method)
        for other in uses.attributes & set(modules()):
            # A module that is imported by its name: whatever attribute is asked for may be one of its functions.
            self.methods[other] = [f"{other}.{name}" for name in modules()[other].definitions]
            self.reached.add(other)
        if uses.attributes - self.attributes or forms - self.patterns:
            self.attributes |= uses.attributes
            self.patterns |= forms
            for owner in self.reached & set(self.methods):
                for method in self.methods[owner]:
                    if self.is_named(method.rpartition(".")[2]):
                        self.reach(method)


def unreachable() -> list[str]:
    """Definitions that neither a command nor a public name leads to."""
    walk = Walk()
    for page in PACKAGE.rglob("*.j2"):
        walk.attributes |= set(re.findall(r"[A-Za-z_]\w*", page.read_text(encoding="utf-8")))
    for table in PACKAGE.rglob("*.csv"):
        for filled in re.findall(r"\{(\w+(?:\.\w+)+)", table.read_text(encoding="utf-8")):
            walk.attributes |= set(filled.split(".")[1:])
    for module in modules():
        if module.startswith("batsim.cli"):
            walk.load(module)
    for name in EXCEPTIONS:
        walk.reach(name)
    for name in batsim.__all__:
        home = f"{getattr(batsim, name).__module__}.{name}"
        walk.reach(home)
        # A public class offers all its public methods.
        for method in walk.methods[home]:
            if not method.rpartition(".")[2].startswith("_"):
                walk.reach(method)
    return sorted(set(definitions()) - walk.reached)


def forms_of_names() -> tuple[set[str], list[re.Pattern[str]]]:
    """Words that the package's code and documents have in quotes, and the forms of names that code puts together."""
    words, forms = set(), []
    for file in PACKAGE.rglob("*.yaml"):
        words |= set(re.split(r"[,\[\]{}:\n]\s*|\s#.*", file.read_text(encoding="utf-8")))
    for file in PACKAGE.rglob("*.csv"):
        words |= set(re.findall(r"\{figures\[([\w.]+)\]", file.read_text(encoding="utf-8")))
    words |= set(re.findall(r"fit\.\w+", (PACKAGE / "plan" / "dimensions.csv").read_text(encoding="utf-8")))
    for file in PACKAGE.rglob("*.py"):
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Constant) and isinstance(node.value, str):
                words.add(node.value)
            elif isinstance(node, ast.JoinedStr):
                parts = [
                    re.escape(str(part.value)) if isinstance(part, ast.Constant) else "(.+)" for part in node.values
                ]
                if re.search("[a-z]", "".join(parts)):
                    forms.append(re.compile("".join(parts)))
    return words | {re.sub(r"[^a-z0-9]+", "_", word.strip().lower()) for word in words}, forms


def test_every_figure_is_asked_for() -> None:
    """By its name, or by a form of names whose open parts are words of the package: `price.{thing}`."""
    words, forms = forms_of_names()

    def is_asked_for(name: str) -> bool:
        matches = (form.fullmatch(name) for form in forms)
        return name in words or any(match and is_known(match.groups()) for match in matches)

    def is_known(parts: tuple[str, ...]) -> bool:
        # A part may be put together itself, such as the last word of a figure of a chemistry.
        return all(part.isdigit() or set(part.split(".")) <= words or is_asked_for(part) for part in parts)

    assert [figure.name for figure in FIGURES.values() if not is_asked_for(figure.name)] == []


def test_nothing_is_reached_by_tests_alone() -> None:
    assert unreachable() == []


def test_exceptions_are_few() -> None:
    assert len(EXCEPTIONS) <= 5
