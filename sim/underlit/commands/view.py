"""`underlit view`: a traced result in a window."""

from __future__ import annotations

from pathlib import Path

from underlit.commands.shared import Refused


def view(folder: Path) -> None:
    """Open a traced result in a 3D window.

    Parameters
    ----------
    folder
        The folder that `underlit trace --out` wrote.
    """
    if not (folder / "result.nc").is_file():
        raise Refused(f"{folder}: there is no result.nc; name a folder that `underlit trace --out` wrote")
    from underlit.viz.tank3d.viewer import show

    try:
        missing = show(folder)
    except ImportError as problem:
        raise Refused(f"no window: {problem.name} is not installed; install it with: pip install pyvista") from None
    except ValueError as problem:
        raise Refused(str(problem)) from None
    if missing is not None:
        raise Refused(missing)
