"""Write TOML: values on one line, tables under headings, lists of tables as arrays of tables."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

_BARE = re.compile(r"[A-Za-z0-9_-]+")

Table = Mapping[str, Any]


def toml_text(tables: Table) -> str:
    """A document: plain values first, then tables under headings, then arrays of tables."""
    blocks = [_entries({key: value for key, value in tables.items() if not _is_table(value)})]
    tabled = {key: value for key, value in tables.items() if isinstance(value, Mapping)}
    for path, table in _headed(tabled, ()):
        lists = {key: rows for key, rows in table.items() if _is_table(rows)} if len(path) == 1 else {}
        blocks.append([f"[{'.'.join(path)}]", *_entries({key: v for key, v in table.items() if key not in lists})])
        for key, rows in lists.items():
            blocks += [[f"[[{path[0]}.{toml_key(key)}]]", *_entries(row)] for row in rows]
    for name, rows in tables.items():
        if _is_table(rows) and not isinstance(rows, Mapping):
            blocks += [block for row in rows for block in _array_row(name, row)]
    return "\n\n".join("\n".join(block) for block in blocks if block) + "\n"


def toml_key(key: str) -> str:
    """A key, in quotes where it needs them."""
    return key if _BARE.fullmatch(key) else toml_value(key)


def toml_value(value: object) -> str:
    """A value on one line."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        escaped = value.replace("\\", "\\\\").replace('"', '\\"')
        return '"' + "".join(c if c.isprintable() else f"\\u{ord(c):04X}" for c in escaped) + '"'
    if isinstance(value, Mapping):
        inner = ", ".join(_entries(value))
        return f"{{ {inner} }}" if inner else "{}"
    if isinstance(value, Sequence):
        return "[" + ", ".join(map(toml_value, value)) + "]"
    return str(value)


def _entries(table: Table) -> list[str]:
    return [f"{toml_key(key)} = {toml_value(value)}" for key, value in table.items()]


def _is_table(value: object) -> bool:
    return isinstance(value, Mapping) or (isinstance(value, list) and bool(value) and isinstance(value[0], Mapping))


def _array_row(name: str, row: Table) -> Iterator[list[str]]:
    """A table of an array, and its channels as an array below it."""
    yield [f"[[{name}]]", *_entries({key: value for key, value in row.items() if key != "channel"})]
    for channel in row.get("channel", []):
        yield [f"[[{name}.channel]]", *_entries(channel)]


def _headed(table: Table, path: tuple[str, ...]) -> Iterator[tuple[tuple[str, ...], Table]]:
    """Tables under headings: those that hold values, from the outside in."""
    values = {key: inner for key, inner in table.items() if not isinstance(inner, Mapping)}
    if path and (values or not table):
        yield path, values
    for key, inner in table.items():
        if isinstance(inner, Mapping):
            yield from _headed(inner, (*path, toml_key(key)))
