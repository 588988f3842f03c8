"""What `underlit.__all__` names is documented as numpydoc asks: parameters, returns, raises; units, shapes.

Every name of it and every public method of its classes has a summary in one line, then sections as
the style guide of numpydoc lays them out. Types stand in the signature and need not be given again: an entry is a name on a
line of its own, with or without its type, and what it means indented under it; entries of `Returns` may be the meaning
alone. The shape of an array is given, and the unit of a number or what it is a share or number of.
"""

from __future__ import annotations

import ast
import inspect
import re
import textwrap
from collections.abc import Callable, Iterator
from functools import cached_property
from itertools import pairwise
from typing import Any

import pytest

import underlit

NAMES = [name for name in underlit.__all__ if not name.startswith("__")]
SECTIONS = ("Parameters", "Returns", "Raises", "Attributes", "Notes", "References", "Examples")
DIMENSION = re.compile(
    r"\[[^\]]+\]|\b(share|fraction|relative|ratio|factor|number|probabilit|index|indices|seed|cosine|exponent|direction|vector|kWh|exact)",
    re.I,
)
"""A unit in brackets, or a word that says that there is none."""
SHAPE = re.compile(r"\((\d|\w+|\.\.\.)?(, ?(\d|\w+|\.\.\.)?)*\)")


def sections(text: str) -> dict[str, str]:
    """The text of a docstring by section, the summary and what follows it under an empty name."""
    parts = re.split(rf"^({'|'.join(SECTIONS)})\n-+\n", text, flags=re.MULTILINE)
    return {"": parts[0], **dict(zip(parts[1::2], parts[2::2], strict=True))}


def entries(section: str) -> dict[str, str]:
    """What a section says of each name; several names may share a line."""
    found = {}
    for block in re.split(r"\n(?=\S)", section.strip("\n")):
        head, _, meaning = block.partition("\n")
        names, _, kind = head.partition(" :")
        for name in names.split(","):
            found[name.strip().lstrip("*")] = f"{kind} {textwrap.dedent(meaning)}".strip()
    return found


def raised(function: Callable[..., Any]) -> set[str]:
    """Names of the exceptions that a function raises itself."""
    tree = ast.parse(textwrap.dedent(inspect.getsource(function)))
    calls = [node.exc for node in ast.walk(tree) if isinstance(node, ast.Raise) and isinstance(node.exc, ast.Call)]
    return {call.func.id for call in calls if isinstance(call.func, ast.Name) and call.func.id.endswith("Error")}


def faults_of_a_number(annotation: str, meaning: str) -> Iterator[str]:
    """What is missing in the description of a value of some type."""
    if "ndarray" in annotation and not SHAPE.search(meaning):
        yield "no shape"
    if re.search(r"\bfloat\b|ndarray", annotation) and not DIMENSION.search(meaning):
        yield "no unit"


def faults_of_a_function(function: Callable[..., Any]) -> Iterator[str]:
    """What a function's docstring lacks."""
    signature = inspect.signature(function)
    said = sections(inspect.getdoc(function) or "")
    wanted = [p for p in signature.parameters.values() if p.name not in ("self", "cls")]
    described = entries(said.get("Parameters", ""))
    if wanted and list(described) != [p.name for p in wanted]:
        yield f"Parameters must be {', '.join(p.name for p in wanted)}"
    for parameter in wanted:
        meaning = described.get(parameter.name, "")
        yield from (f"{parameter.name}: {fault}" for fault in faults_of_a_number(str(parameter.annotation), meaning))
    returns = str(signature.return_annotation)
    if returns not in ("None", "<class 'inspect._empty'>"):
        if "Returns" not in said:
            yield "no Returns"
        yield from (f"Returns: {fault}" for fault in faults_of_a_number(returns, said.get("Returns", "")))
    for name in sorted(raised(function) - set(entries(said.get("Raises", "")))):
        yield f"Raises lacks {name}"


def faults_of_a_summary(thing: object) -> Iterator[str]:
    """Whether a docstring begins with one line that ends as a sentence does."""
    summary, _, rest = (inspect.getdoc(thing) or "").partition("\n")
    if not summary.endswith("."):
        yield "the summary is one line and ends with a full stop"
    if rest and not rest.startswith("\n"):
        yield "an empty line follows the summary"


def described_fields(cls: type) -> set[str]:
    """Fields with a text of their own: an entry of `Attributes`, a description, or a string on the line under the field."""
    found = set(entries(sections(inspect.getdoc(cls) or "").get("Attributes", "")))
    found |= {name for name, field in getattr(cls, "model_fields", {}).items() if field.description}
    body = ast.parse(textwrap.dedent(inspect.getsource(cls))).body[0].body  # type: ignore[attr-defined]
    for field, text in pairwise(body):
        target = field.target if isinstance(field, ast.AnnAssign) else None
        if isinstance(target, ast.Name) and isinstance(text, ast.Expr) and isinstance(text.value, ast.Constant):
            found.add(target.id)
    return found


def public_members(cls: type) -> Iterator[tuple[str, Any]]:
    """Methods and properties that a class itself defines, `model_post_init` and the like left out."""
    for name, member in vars(cls).items():
        if not name.startswith(("_", "model_")):
            member = getattr(member, "__func__", member)
            if inspect.isfunction(member) or isinstance(member, property | cached_property):
                yield name, member


def faults(name: str) -> Iterator[str]:
    """All that the documentation of a public name lacks."""
    thing = getattr(underlit, name)
    yield from (f"{name}: {fault}" for fault in faults_of_a_summary(thing))
    if not inspect.isclass(thing):
        yield from (f"{name}: {fault}" for fault in faults_of_a_function(thing))
        return
    fields = {field for field in vars(thing).get("__annotations__", {}) if not field.startswith(("_", "model_"))}
    missing = fields - described_fields(thing)
    if missing:
        yield f"{name}: Attributes lacks {', '.join(sorted(missing))}"
    for member, what in public_members(thing):
        yield from (f"{name}.{member}: {fault}" for fault in faults_of_a_summary(what))
        if inspect.isfunction(what):
            yield from (f"{name}.{member}: {fault}" for fault in faults_of_a_function(what))


@pytest.mark.parametrize("name", NAMES)
def test_what_is_public_is_documented(name: str) -> None:
    found = list(faults(name))
    assert not found, "\n".join(found)


def test_a_fault_is_seen() -> None:
    def bad(width: float, face: int) -> float:
        """Width over all.

        Parameters
        ----------
        width
            How wide.

        Returns
        -------
        How wide it is over all.
        """
        raise ValueError(width, face)

    def good(width: float, face: int) -> float:
        """Width over all.

        Parameters
        ----------
        width, face
            How wide [m], and the index of the face.

        Returns
        -------
        Width over all [m].

        Raises
        ------
        ValueError
            Always.
        """
        raise ValueError(width, face)

    assert set(faults_of_a_function(bad)) == {
        "Parameters must be width, face",
        "width: no unit",
        "Returns: no unit",
        "Raises lacks ValueError",
    }
    assert not list(faults_of_a_function(good))
