"""What `underlit.__all__` names is documented: parameters, what is returned and raised; units, shapes.

Every name of it and every public method of its classes has a summary in one line. Where that line, or a sentence or two
under it, says all, it is enough: it names each parameter and each error, and gives as many units and shapes as there are
numbers and arrays. More than four parameters that need words have the sections of numpydoc. What the methods of a class
share may stand once, in the docstring of the class, in backticks. Types stand in the signature and need not be given again:
an entry is a name on a line of its own, with or without its type, and what it means indented under it; entries of `Returns`
may be the meaning alone. The shape of an array is given, and the unit of a number or what it is a share or number of.
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

import numpy as np
import pytest

import underlit

NAMES = [name for name in underlit.__all__ if not name.startswith("__")]
SECTIONS = ("Parameters", "Returns", "Raises", "Attributes", "Notes", "References", "Examples")
DIMENSION = re.compile(
    r"\[[^\]]+\]|\b(share|fraction|relative|ratio|factor|number|probabilit|index|indices|seed|cosine|exponent|direction|vector|price|exact)",
    re.I,
)
"""A unit in brackets, or a word that says that there is none."""
SHAPE = re.compile(r"\((\w+|\.\.\.),( ?(\w+|\.\.\.),?)*\)|\(\.\.\.\)")
MOST_IN_PROSE = 4
"""So many parameters, or fields of a class, may be described in the text before the sections."""


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


def is_named(name: str, text: str) -> bool:
    """Whether a text speaks of a name: as it is written, or as its words."""
    return re.search(rf"\b({name}|{name.replace('_', ' ')})s?\b", text, re.I) is not None


def faults_of_numbers(annotations: list[str], meaning: str) -> Iterator[str]:
    """What is missing in the description of values of some types: it has a shape for each array, a unit for each number."""
    if len(SHAPE.findall(meaning)) < sum("ndarray" in annotation for annotation in annotations):
        yield "no shape"
    if len(DIMENSION.findall(meaning)) < sum(bool(re.search(r"\bfloat\b|ndarray", a)) for a in annotations):
        yield "no unit"


def faults_of_a_function(function: Callable[..., Any], shared: str = "") -> Iterator[str]:
    """What a function's docstring lacks. shared: the docstring of its class, for what its methods have in common."""
    signature = inspect.signature(function)
    said = sections(inspect.getdoc(function) or "")
    prose = said[""]
    known = ("self", "cls", *re.findall(r"`(\w+)`", shared))
    wanted = {p.name: str(p.annotation) for p in signature.parameters.values() if p.name not in known}
    described = entries(said.get("Parameters", ""))
    in_prose = []
    if "Parameters" in said or len(wanted) > MOST_IN_PROSE:
        if list(described) != list(wanted):
            yield f"Parameters must be {', '.join(wanted)}"
        for name, annotation in wanted.items():
            yield from (f"{name}: {fault}" for fault in faults_of_numbers([annotation], described.get(name, "")))
    else:
        yield from (f"{name}: not named" for name in wanted if not is_named(name, prose))
        in_prose = list(wanted.values())
    returns = str(signature.return_annotation)
    if "Returns" in said:
        yield from (f"Returns: {fault}" for fault in faults_of_numbers([returns], said["Returns"]))
    elif returns not in ("None", "<class 'inspect._empty'>"):
        in_prose.append(returns)
    yield from faults_of_numbers(in_prose, prose)
    for name in sorted(raised(function) - set(entries(said.get("Raises", "")))):
        if name not in prose:
            yield f"nothing says that it raises {name}"


def faults_of_a_summary(thing: object) -> Iterator[str]:
    """Whether a docstring begins with one line that ends as a sentence does."""
    summary, _, rest = (inspect.getdoc(thing) or "").partition("\n")
    if not summary.endswith("."):
        yield "the summary is one line and ends with a full stop"
    if rest and not rest.startswith("\n"):
        yield "an empty line follows the summary"


def described_fields(cls: type) -> set[str]:
    """Fields with a text of their own: an entry of `Attributes`, a description, or a string on the line under the field.

    Few fields may be named in the text before the sections.
    """
    said, fields = sections(inspect.getdoc(cls) or ""), list(vars(cls).get("__annotations__", {}))
    found = set(entries(said.get("Attributes", "")))
    if len(fields) <= MOST_IN_PROSE:
        found |= {field for field in fields if is_named(field, said[""])}
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
            about = inspect.getdoc(thing) or ""
            yield from (f"{name}.{member}: {fault}" for fault in faults_of_a_function(what, about))


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

    def short(face: int, width: float, corners: np.ndarray) -> np.ndarray:
        """Corners (4, 3) [m] of a face with another width [m]: (4, 3) [m]. ValueError for one that is not there."""
        raise ValueError(face, width, corners)

    def too_short(face: int, width: float, corners: np.ndarray) -> np.ndarray:
        """Corners (4, 3) [m] with another width."""
        raise ValueError(face, width, corners)

    def long(first: float, second: float, third: float, fourth: float, fifth: float) -> None:
        """Of the first [m], second [m], third [m], fourth [m] and fifth [m]."""

    assert set(faults_of_a_function(bad)) == {
        "Parameters must be width, face",
        "width: no unit",
        "Returns: no unit",
        "nothing says that it raises ValueError",
    }
    assert set(faults_of_a_function(too_short)) == {
        "face: not named",
        "no shape",
        "no unit",
        "nothing says that it raises ValueError",
    }
    assert "face: not named" not in set(faults_of_a_function(too_short, "`face` is the index of a face."))
    assert any(fault.startswith("Parameters must be") for fault in faults_of_a_function(long))
    for well_said in (good, short):
        assert not list(faults_of_a_function(well_said))
