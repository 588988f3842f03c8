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
        File for the layout (PNG). Default: the scene's name with -layout.png, in the current folder. Beside it go the
        layouts of further tanks of a rack, and a sheet for each fixture: -fixture-1.png and so on.
    """
    loaded = load(scene)
    path = out or Path(f"{scene.stem}-layout.png")
    if path.is_dir():
        raise Refused(f"--out: {path} is a folder; name a PNG file")
    lowered = lowered_scene(loaded)
    from underlit.report.files import overlay
    from underlit.report.layout import print_layout
    from underlit.report.printout import output_console, say
    from underlit.report.summary import lights_of
    from underlit.text.file_name import named_for
    from underlit.viz.sheets.fixture_sheet import write_fixture_sheets
    from underlit.viz.sheets.layout import write_layout

    console = output_console()
    print_layout(console, lowered)
    try:
        written = []
        for frame, tank in zip(lowered.compiled.frames, lowered.tanks, strict=True):
            written.append(path.with_stem(named_for(path.stem, frame.name)))
            write_layout(tank.compiled.meshes, overlay(tank), written[-1])
        lights = [fixture for _, fixture in lights_of(lowered)]
        written += write_fixture_sheets(lights, path.parent, _sheet_stem(path.stem))
    except OSError as problem:
        raise cannot_write(path, problem) from None
    say(console, f"{scene} is sound. Written to {', '.join(map(str, written))}")


def _sheet_stem(layout: str) -> str:
    """The start of the names of the fixtures' sheets, from the name of the layout."""
    start = layout.removesuffix("layout").removesuffix("-")
    return f"{start}-fixture" if start else "fixture"
