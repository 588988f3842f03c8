"""Entries of the catalogue as people read them: lists, one in full, JSON."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path

from rich.console import Console

from underlit.catalogue import Catalogue, Entry, Kind, Origin, search, words_of
from underlit.catalogue.entry import SOURCE_OF_ALL
from underlit.catalogue.search import words_found_nowhere
from underlit.report.numbers import band_text
from underlit.report.printout import say, table
from underlit.scene import Band, Scene
from underlit.scene.reader.entry_check import scene_around
from underlit.text.suggest import did_you_mean
from underlit.text.toml_writer import toml_key, toml_value
from underlit.units import format_length, format_volume

_WITH_CO2, _NO_CO2 = "added CO2", "no added CO2"
_SETTLED, _NEW = "settled", "new tank"
_CASES = {
    f"{co2}, {age}": {"added_co2": co2 == _WITH_CO2, "settled": age == _SETTLED}
    for co2 in (_WITH_CO2, _NO_CO2)
    for age in (_SETTLED, _NEW)
}
"""The two questions about the tank, by what people answer."""


def found(catalogue: Catalogue, words: Sequence[str]) -> list[Entry]:
    """The entries of that name where all words together are one, else all that have every word."""
    name = " ".join(words)
    named = [entry for kind in Kind if (entry := catalogue.find(kind, name)) is not None] if name else []
    return named or search(catalogue.entries, words)


def why_nothing(catalogue: Catalogue, words: Sequence[str]) -> str:
    """One line for words that find nothing."""
    nowhere = words_found_nowhere(catalogue.entries, words)
    if not nowhere:
        return f"no entry of the catalogue has all of these words: {' '.join(words)}; leave one out"
    known = sorted({word for entry in catalogue.entries for word in words_of(entry)})
    return f"no entry of the catalogue has the word {nowhere[0]!r}{did_you_mean(nowhere[0].casefold(), known)}"


def bands(entry: Entry, catalogue: Catalogue) -> dict[str, Band]:
    """The band of a plant by what the tank is, empty where nothing says what light it needs."""
    if entry.kind is not Kind.PLANTS:
        return {}
    needs = scene_around(entry, catalogue).plants[0].needs
    if needs is None:
        return {}
    unnamed = needs.model_copy(update={"plant": ""})
    return {name: unnamed.wanted(**case) for name, case in _CASES.items()}


def suited_by(entries: Sequence[Entry], ppfd: float, catalogue: Catalogue) -> list[Entry]:
    """The plants whose band holds a light [umol/m2/s] in a settled tank, with or without added CO2."""
    return [
        entry
        for entry in entries
        if any(band.low <= ppfd <= band.high for name, band in bands(entry, catalogue).items() if _SETTLED in name)
    ]


def print_entries(console: Console, entries: Sequence[Entry], catalogue: Catalogue, folder: Path) -> None:
    """A table for each kind, a line for each entry."""
    for kind in Kind:
        of_kind = [entry for entry in entries if entry.kind is kind]
        if not of_kind:
            continue
        say(console, f"{kind.capitalize()} ({len(of_kind)})", "bold")
        more = ("PPFD band,\nadded CO2", "PPFD band,\nno added CO2") if kind is Kind.PLANTS else ()
        made = table("name", "what it is", *more, wide=2)
        for entry in of_kind:
            told = [band_text(band) for name, band in bands(entry, catalogue).items() if _SETTLED in name]
            made.add_row(entry.name + _mark(entry), entry.about, *(told or [""] * len(more)))
        console.print(made)
        console.print()
    if any(entry.kind is Kind.PLANTS for entry in entries):
        say(
            console,
            "Bands: umol/m2/s at the plant in a settled tank (common practice); for a new tank, take 50-60 % of them.",
        )
    say(
        console,
        'Show one in full: underlit catalogue NAME. Use it in a scene: from = "NAME"; keys beside it come first.',
    )
    say(console, f"Your own entries (marked *) are TOML files in {folder}")


def _mark(entry: Entry) -> str:
    if entry.origin is Origin.SHIPPED:
        return ""
    return " * (replaces the shipped one)" if entry.hides_shipped else " *"


def print_entry(console: Console, entry: Entry, catalogue: Catalogue) -> None:
    """Everything an entry says, and values derived from it."""
    say(console, f"{entry.name} ({entry.kind})", "bold underline")
    say(console, entry.about)
    if entry.also:
        say(console, f"Also: {', '.join(entry.also)}")
    if entry.origin is Origin.OWN:
        instead = ", replaces the shipped one of that name" if entry.hides_shipped else ""
        say(console, f"Your own: {entry.file}:{entry.line}{instead}")
    _heading(console, "In a scene")
    for line in reference(entry):
        say(console, line, indent=2)
    _heading(console, "Keys it sets")
    for key, value in entry.sets.items():
        for line in toml_lines(key, value):
            say(console, line, indent=2)
    _heading(console, "Derived values")
    for line in _what_follows(entry, scene_around(entry, catalogue)):
        say(console, line, indent=2)
    if known := bands(entry, catalogue):
        _print_needs(console, known)
    _print_sources(console, entry)


def _print_sources(console: Console, entry: Entry) -> None:
    if entry.published:
        _heading(console, "Published values, measured under other conditions; no band is made from them")
        for row in entry.published:
            span = f"{row.low:g}" if row.low == row.high else f"{row.low:g}-{row.high:g}"
            seen = "" if row.status == "read" else f" [{row.status}]"
            said = f"{row.species}: {row.quantity} {span} {row.unit} ({row.conditions}); {row.source}{seen}"
            say(console, said, indent=2)
    _heading(console, "Sources")
    for what, text in entry.source.items():
        say(console, text if what == SOURCE_OF_ALL else f"{what}: {text}", indent=2)


def _heading(console: Console, text: str) -> None:
    console.print()
    say(console, text, "bold")


def _print_needs(console: Console, known: Mapping[str, Band]) -> None:
    _heading(console, "Light it needs, PAR (PPFD) at the plant, umol/m2/s")
    made = table("tank", "band", "notes", wide=1)
    made.columns[2].justify = "left"
    for name, band in known.items():
        made.add_row(name, band_text(band), band.note)
    console.print(made)


def reference(entry: Entry) -> list[str]:
    """Lines of a scene that refer to the entry."""
    head = f"[{entry.kind}]" if entry.kind in (Kind.TANK, Kind.LID, Kind.SUBSTRATE) else f"[[{entry.kind}]]"
    lines = [head, f"from = {toml_value(entry.name)}"]
    return [*lines, "[[zone]]", f"for = {toml_value(entry.name)}"] if entry.needs else lines


def _what_follows(entry: Entry, scene: Scene) -> Iterator[str]:
    if entry.kind is Kind.TANK:
        volume = scene.tank.inside_outline.area * scene.tank.inside_m[2]
        measures = " x ".join(format_length(side) for side in scene.tank.inside_m)
        called = "" if entry.trade_gallons is None else f"; sold as {entry.trade_gallons:g} gallons"
        yield f"inside {measures}, glass {format_length(scene.tank.wall_thickness_m)}"
        yield f"{format_volume(volume)} when full to the top edge{called}"
    elif entry.kind is Kind.LID and scene.lid is not None:
        yield f"dirt and condensation transmit {100 * scene.lid.dirt * scene.lid.condensation:.0f} % of the light"
    elif entry.kind is Kind.SUBSTRATE:
        yield f"reflects {100 * scene.substrate.spectrum().mean():.0f} % of the light (400-700 nm)"
    elif entry.kind is Kind.FIXTURE:
        fixture = scene.fixtures[0]
        watts = "" if fixture.output.watts is None else f" from {fixture.output.watts:g} W"
        yield f"PPF {fixture.claimed_ppf:.3g} umol/s{watts}, at full power, as claimed"
    elif entry.kind in (Kind.WOOD, Kind.STONE):
        spectra = [piece.spectrum() for piece in scene.wood] + [piece.spectrum() for piece in scene.stone]
        yield f"reflects {100 * spectra[0].mean():.0f} % of the light (400-700 nm)"
    else:
        leaf = scene.plants[0].leaf_optics
        shares = f"{100 * leaf.reflectance.mean():.1f} % and transmits {100 * leaf.transmittance.mean():.1f} %"
        yield f"a leaf reflects {shares} of the light (400-700 nm)"


def as_json(entries: Sequence[Entry], catalogue: Catalogue) -> str:
    """The entries in full, a list."""
    return json.dumps([_plain(entry, catalogue) for entry in entries], indent=2, ensure_ascii=False) + "\n"


def _plain(entry: Entry, catalogue: Catalogue) -> dict[str, object]:
    return {
        "kind": str(entry.kind),
        "name": entry.name,
        "also": list(entry.also),
        "about": entry.about,
        "sets": dict(entry.sets),
        "follows": list(_what_follows(entry, scene_around(entry, catalogue))),
        "needs": dict(entry.needs),
        "bands_umol_m2_s": {name: [band.low, band.high] for name, band in bands(entry, catalogue).items()},
        "published": [vars(row) for row in entry.published],
        "trade_gallons": entry.trade_gallons,
        "source": dict(entry.source),
        "origin": str(entry.origin),
        "hides_shipped": entry.hides_shipped,
        "file": str(entry.file),
        "line": entry.line,
    }


def toml_lines(key: str, value: object) -> list[str]:
    """A key and its value as in a scene file, a list of tables with each on a line of its own."""
    if isinstance(value, list) and len(value) > 1 and all(isinstance(item, Mapping) for item in value):
        return [f"{toml_key(key)} = [", *(f"    {toml_value(item)}," for item in value), "]"]
    return [f"{toml_key(key)} = {toml_value(value)}"]
