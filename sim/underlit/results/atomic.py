"""Files that are either whole or not there: written beside their place, then moved into it in one step."""

from __future__ import annotations

import os
import secrets
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

_MARK = ".part-"


@contextmanager
def atomic_path(path: str | Path) -> Iterator[Path]:
    """A temporary path in the folder of `path`, with the same ending; it replaces `path` when the block ends well.

    Whatever goes wrong in the block, Ctrl-C included, leaves `path` as it was and the temporary file removed. A process
    that was killed outright may leave a hidden file that no reader looks at; the next write of `path` removes it. The
    folder is made if missing. Raises OSError where it cannot be written, FileNotFoundError if the block wrote nothing.
    """
    target = Path(path)
    target.parent.mkdir(parents=True, exist_ok=True)
    remove_abandoned(target)
    temporary = _temporary(target)
    try:
        yield temporary
        _flush(temporary)
        os.replace(temporary, target)
    finally:
        temporary.unlink(missing_ok=True)
    _flush(target.parent)


@contextmanager
def temporary_folder(beside: str | Path) -> Iterator[Path]:
    """A hidden folder beside a path to come, for formats of many files; removed at the end, whatever happens."""
    target = Path(beside)
    target.parent.mkdir(parents=True, exist_ok=True)
    remove_abandoned(target)
    folder = _temporary(target)
    folder.mkdir()
    try:
        yield folder
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def write_text(path: str | Path, text: str) -> None:
    """Write a text file (UTF-8) as a whole or not at all."""
    with atomic_path(path) as temporary:
        temporary.write_text(text, encoding="utf-8", newline="")


def remove_abandoned(target: Path) -> None:
    """Remove what killed processes left of earlier writes of `target`."""
    for left in target.parent.glob(f".{target.stem}{_MARK}*{target.suffix}"):
        owner = left.name[len(target.stem) + 1 + len(_MARK) :].split("-")[0]
        if owner.isdigit() and not _runs(int(owner)):
            if left.is_dir():
                shutil.rmtree(left, ignore_errors=True)
            else:
                left.unlink(missing_ok=True)


def remove_own(folder: Path) -> None:
    """Remove what this process is writing into a folder and has not put in place: for an end without unwinding."""
    for left in folder.glob(f".*{_MARK}{os.getpid()}-*"):
        if left.is_dir():
            shutil.rmtree(left, ignore_errors=True)
        else:
            left.unlink(missing_ok=True)


def _temporary(target: Path) -> Path:
    return target.with_name(f".{target.stem}{_MARK}{os.getpid()}-{secrets.token_hex(4)}{target.suffix}")


def _runs(process: int) -> bool:
    # Elsewhere than on POSIX, signal 0 is not a question but a kill: there, leave the file.
    if os.name != "posix":
        return True
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except PermissionError:
        return True
    return True


def _flush(path: Path) -> None:
    """Bring a file or a folder's entries to the disk, where the system lets us."""
    if path.is_dir() and os.name != "posix":
        return
    handle = os.open(path, os.O_RDONLY if os.name == "posix" else os.O_RDWR)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
