"""Suggestions as the page shows them: what to hang and how to set it, each with a whole scene of its own."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

from underlit.app.document import Document, own_tank
from underlit.app.heavy.fitting import rack_name
from underlit.app.heavy.jobs import Job, Jobs
from underlit.app.heavy.scratch import made_whole, on_disk, picture
from underlit.planning.suggest import SearchSpace, SuggestError, Suggestion, suggest
from underlit.planning.suggest.scene_file import NoFileError, suggested_scene
from underlit.planning.suggest.search_space import kinds_of
from underlit.planning.suggest.suggest import FULL_PHOTONS
from underlit.report.decisions.suggest import (
    buy_words,
    hanging_words,
    in_words,
    setting_words,
    title_words,
    unmet_words,
)
from underlit.scene import Scene, load_scene
from underlit.viz.figures import write_png
from underlit.viz.sheets.suggestions import draw_suggestions

SHOWN = 5


@dataclass(frozen=True)
class Way:
    """One suggestion in words. text: its scene, or empty and then why not."""

    name: str
    hang: str
    setting: str
    met: str
    buy: str
    watts: str
    unmet: str
    notes: tuple[str, ...]
    text: str
    why_not: str


@dataclass(frozen=True)
class SuggestAnswer:
    """The tank as it is, ways ranked, what follows from them, a picture. of: text of the scene that was asked about;
    tank: of the rack, where it is not the scene's own.
    """

    now: Way
    ways: tuple[Way, ...]
    words: tuple[str, ...]
    picture: str
    of: str
    tank: str


def suggest_work(
    job: Job, *, text: str, tank: int = 0, space: SearchSpace, folder: Path, jobs: Jobs
) -> SuggestAnswer:  # fmt: skip
    """Find what to hang and how to set it, over a tank of a rack by its number."""
    job.tell("building the tank")
    with on_disk(folder, text) as path:
        rack = load_scene(path)
        scene = rack.seen_from(tank, own_tank(rack))
        found = suggest(
            scene, space, photons=jobs.photons(FULL_PHOTONS), threads=1,
            progress=lambda state: job.tell(state.what, state.done, state.total),
        )  # fmt: skip
        job.tell("drawing")
        now = _way("now", found.now, "", "")
        shown = [(str(i + 1), one) for i, one in enumerate(found.ranked[:SHOWN])]
        ways = tuple(_way(name, one, *_scene_of(one, rack, tank, folder)) for name, one in shown)
    named = [("now", found.now), *shown]
    titles = [(n, title_words(one, now=n == "now")) for n, one in named]
    drawing = picture(lambda to: write_png(draw_suggestions(found, titles), to, tight=True))
    return SuggestAnswer(now, ways, tuple(in_words(found)), drawing, text, rack_name(rack, tank))


def own_kinds(scene: Scene) -> list[str]:
    """Names of the kinds of light that hang there and of which another may be bought."""
    try:
        return [kind.name for kind in kinds_of(scene, SearchSpace())]
    except SuggestError:
        return []


def _way(name: str, one: Suggestion, text: str, why_not: str) -> Way:
    return Way(
        name=name,
        hang=hanging_words(one, now=name == "now"),
        setting=setting_words(one),
        met=f"{len(one.met)} of {len(one.zones)}",
        buy=buy_words(one),
        watts="" if one.watts is None else f"{one.watts:.3g}",
        unmet=unmet_words(one) or "none",
        notes=tuple(one.reach.warnings),
        text=text,
        why_not=why_not,
    )


def _scene_of(one: Suggestion, rack: Scene, tank: int, folder: Path) -> tuple[str, str]:
    """The scene of a suggestion as one text, or empty and why there is none."""
    kept = replace(one, lid_kept=one.lid_kept or tank == 0)
    try:
        text = made_whole(folder, lambda out: suggested_scene(kept, rack, tank, out))
    except NoFileError as reason:
        return "", str(reason)
    if one.lid_kept:
        return text, ""
    document = Document(text)
    document.set("lid", value=None)
    return document.text, ""
