"""`underlit check`: validate a scene and draw its layout."""

from __future__ import annotations

from pathlib import Path

from underlit.commands.shared import Refused, cannot_write, load, lowered_scene


def check(scene: Path, *, out: Path | None = None) -> None:
    """Validate a scene and draw its layout, without tracing.

    Parameters
    ----------
    scene
        The scene file (TOML).
    out
        Where to draw the layout (PNG). Default: the scene's name with -layout.png, in the current folder.
    """
    loaded = load(scene)
    path = out or Path(f"{scene.stem}-layout.png")
    if path.is_dir():
        raise Refused(f"--out: {path} is a folder; name a PNG file")
    lowered = lowered_scene(loaded)
    from underlit.report.files import overlay
    from underlit.report.layout import print_layout
    from underlit.report.printout import output_console, say
    from underlit.viz.layout import write_layout

    console = output_console()
    print_layout(console, lowered)
    try:
        write_layout(lowered.plan.meshes, overlay(lowered), path)
    except OSError as problem:
        raise cannot_write(path, problem) from None
    say(console, f"{scene} is sound. Layout drawn to {path}")
