"""What commands share: refusing in one line, reading and building a scene, numbers from text."""

from __future__ import annotations

from pathlib import Path
from typing import Any

MOST_THREADS = 1024


class Refused(Exception):
    """Something the user can put right: the message is one or more lines for them. Exit status 2."""


def load(path: Path) -> Any:
    from underlit.scene import SceneError, load_scene

    try:
        return load_scene(path)
    except SceneError as problem:
        raise Refused(str(problem)) from None


def lowered_scene(scene: Any) -> Any:
    from underlit.lowering.aquascape.hardscape import LoweringError
    from underlit.lowering.scene import lower

    try:
        return lower(scene)
    except LoweringError as problem:
        raise Refused(f"{scene.path}: {problem}") from None


def whole_number(name: str, text: str | int | None, low: int, high: int) -> int | None:
    """A whole number in a range; 3e6 and 3_000_000 are ways to write one."""
    if text is None:
        return None
    try:
        value = int(text)
    except ValueError:
        try:
            value = int(float(text)) if float(text).is_integer() else low - 1
        except (ValueError, OverflowError):
            value = low - 1
    if not low <= value <= high:
        span = f"from {low} to {high}" if high < 1 << 32 else f"of {low} or more"
        raise Refused(f"{name}: must be a whole number {span} (got {text})")
    return value


def cannot_write(path: Path, problem: Exception) -> Refused:
    said = getattr(problem, "strerror", None) or " ".join(str(problem).split())
    return Refused(f"--out: {path}: cannot write there ({said}); name another place")
