"""`underlit check`: validate a scene and draw its layout."""

from __future__ import annotations

from pathlib import Path

from underlit.commands.options import SceneFile
from underlit.commands.shared import Refused, cannot_write, load, lowered_scene


def check(scene: SceneFile, *, out: Path | None = None) -> None:
    """Check a scene and draw its layout and its fixtures, without tracing.

    Parameters
    ----------
    out
        File for the layout (PNG). Default: the scene's name with -layout.png, in the current folder. A sheet for each
        fixture is written beside it: -fixture-1.png and so on.
    """
    loaded = load(scene)
    path = out or Path(f"{scene.stem}-layout.png")
    if path.is_dir():
        raise Refused(f"--out: {path} is a folder; name a PNG file")
    lowered = lowered_scene(loaded)
    from underlit.report.files import overlay
    from underlit.report.layout import print_layout
    from underlit.report.printout import output_console, say
    from underlit.viz.sheets.fixture_sheet import write_fixture_sheets
    from underlit.viz.sheets.layout import write_layout

    console = output_console()
    print_layout(console, lowered)
    try:
        write_layout(lowered.compiled.own_meshes, overlay(lowered), path)
        sheets = write_fixture_sheets(loaded.fixtures, path.parent, _sheet_stem(path.stem))
    except OSError as problem:
        raise cannot_write(path, problem) from None
    say(console, f"{scene} is sound. Written to {', '.join(str(file) for file in (path, *sheets))}")


def _sheet_stem(layout: str) -> str:
    """The start of the names of the fixtures' sheets, from the name of the layout."""
    start = layout.removesuffix("layout").removesuffix("-")
    return f"{start}-fixture" if start else "fixture"
