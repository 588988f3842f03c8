"""Candidates at their best settings and at equal watts, in tables and words."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from rich.console import Console
from rich.text import Text

from underlit.planning.candidates import Candidate, Place
from underlit.planning.compare import Comparison, Row
from underlit.planning.compared_settings import Side
from underlit.planning.zones import Verdict
from underlit.report.decisions.decision import counted
from underlit.report.numbers import NONE, with_error
from underlit.report.printout import STYLE, section, table
from underlit.report.summary import number


def print_settings(console: Console, made: Comparison, labels: Sequence[str]) -> None:
    """How even each is, and the zones at the best settings and at equal watts."""
    even = [(row.name, *(_evenness(place) for place in row.places)) for row in made.rows if not row.is_spot]
    heads = (f"{label}" for label in labels)
    section(console, "Evenness (dimmest patch over the mean), at any common dimming", table("zone", *heads, rows=even))
    if any(side.decision.zones for side in made.best):
        _print_sides(console, "Each at its best setting, umol/m2/s", made, labels, made.best)
    if made.equal is not None and len({c.watts for c in made.candidates}) > 1:
        title = f"All dimmed to equal watts ({made.equal.watts:.3g} W), umol/m2/s"
        _print_sides(console, title, made, labels, made.equal.sides)


def _print_sides(console: Console, title: str, made: Comparison, labels: Sequence[str], sides: Sequence[Side]) -> None:
    heads = (
        f"{label}{'' if s.watts is None else f', {s.watts:.3g} W'}\nverdict"
        for label, s in zip(labels, sides, strict=True)
    )
    shown = table("zone or spot", *heads)
    for row in made.rows:
        shown.add_row(row.name, *(_side_cell(row, side) for side in sides))
    section(console, title, shown)


def _side_cell(row: Row, side: Side) -> Text:
    at = place_number(row, side.candidate)
    if at is None:
        return Text("not there", "dim")
    cell = Text(with_error(side.values[at].value, side.values[at].half_width))
    if side.verdicts[at] is not Verdict.NO_TARGET:
        cell.append(f"\n{side.verdicts[at]}", STYLE[side.verdicts[at]])
    return cell


def place_number(row: Row, c: Candidate) -> int | None:
    """Number of a row's place in a candidate; None where it has none."""
    first, last = (len(c.result.compiled.zones), len(c.places)) if row.is_spot else (0, len(c.result.compiled.zones))
    return next((i for i in range(first, last) if c.places[i].name == row.name), None)


def _evenness(place: Place | None) -> str:
    return NONE if place is None or place.evenness is None else f"{place.evenness:.2f}"


def side_data(row: Row, side: Side, what: str) -> dict[str, Any]:
    """A place at another setting, as plain data."""
    at = place_number(row, side.candidate)
    if at is None:
        return {}
    return {
        f"ppfd_at_{what}_umol_m2_s": number(side.values[at].value),
        f"verdict_at_{what}": str(side.verdicts[at]),
    }


def best_words(made: Comparison) -> list[str]:
    """Which candidate makes most zones right, at its best setting and at equal watts, and whether fewer lights are enough."""
    asking = [side for side in made.best if side.decision.zones]
    if len(asking) < len(made.best):
        return []
    said = _how_many_lights([(len(s.candidate.draws), (s.right, -len(s.decision.unmet))) for s in asking])
    lines = [f"{said}At their best settings {_each(asking)}."]
    if made.equal is not None and len({c.watts for c in made.candidates}) > 1:
        lines.append(f"At equal watts ({made.equal.watts:.3g} W) {_each(made.equal.sides, watts=False)}.")
    return lines


def _each(sides: Sequence[Side], *, watts: bool = True) -> str:
    """`two makes 6 of 6 zones right (34 W, evenness of the substrate 0.62)`, the best first."""
    told = []
    for side in sorted(sides, key=lambda side: -side.right):
        c = side.candidate
        bed = next((place.evenness for place in c.places if place.is_whole_bed), None)
        drawn = "" if side.watts is None or not watts else f"{side.watts:.3g} W"
        even = "" if bed is None else f"evenness of the substrate {bed:.2f}"
        asking = sum(place.band is not None for place in c.places)
        more = ", ".join(filter(None, [drawn, even]))
        told.append(f"{c.name} makes {side.right} of {asking} zones right" + (f" ({more})" if more else ""))
    return ", ".join(told)


def _how_many_lights(found: Sequence[tuple[int, tuple[int, int]]]) -> str:
    """`One light is enough. ` where the fewest lights do as well as more; from the lights of each and how well they do."""
    fewest, most = min(count for count, _ in found), max(count for count, _ in found)
    if fewest == most:
        return ""
    best = max(rank for _, rank in found)
    needed = min(count for count, rank in found if rank == best)
    if needed == fewest:
        return (
            f"{counted(fewest, 'light', every=False).capitalize()} {'does' if fewest == 1 else 'do'} as well as more. "
        )
    than = "one" if fewest == 1 else counted(fewest, "light", every=False)
    return f"{counted(needed, 'light', every=False).capitalize()} are better than {than}. "
