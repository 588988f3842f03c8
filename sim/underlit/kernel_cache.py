"""How kernels are compiled, and where they are kept: a folder named by a hash of all sources and of numba's version.

Numba's own cache looks only at the file of a function, so an edit in a file that it calls would go unnoticed; and it
fails where neither the sources nor the home folder can be written. Importing a kernel package calls `use()`.
NUMBA_CACHE_DIR, where set, is left alone.
"""

from __future__ import annotations

import hashlib
import os
import shutil
import tempfile
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any, TypeVar

Function = TypeVar("Function", bound=Callable[..., Any])

KEPT_FOLDERS = 4
"""Older folders are removed when a new one is made."""
KERNEL_PACKAGES = ("geometry", "optics", "transport")


@cache
def source_hash() -> str:
    """Hash of every kernel source and of numba's version."""
    from importlib.metadata import version

    digest = hashlib.sha256(version("numba").encode())
    root = Path(__file__).parent
    sources = [path for package in KERNEL_PACKAGES for path in sorted((root / package).rglob("*.py"))]
    for path in [*sources, Path(__file__)]:
        digest.update(path.relative_to(root).as_posix().encode())
        digest.update(path.read_bytes())
    return digest.hexdigest()[:16]


@cache
def use() -> Path | None:
    """Point numba's cache to the folder of these sources; None where the user chose one."""
    if os.environ.get("NUMBA_CACHE_DIR"):
        return None
    import numba
    import platformdirs

    home = Path(platformdirs.user_cache_dir("underlit", appauthor=False))
    folder = home / f"kernels-{source_hash()}"
    if not folder.is_dir():
        try:
            folder.mkdir(parents=True, exist_ok=True)
            _remove_old(home, keep=folder)
        except OSError:
            folder = Path(tempfile.mkdtemp(prefix="underlit-kernels-"))
    setattr(numba.config, "CACHE_DIR", str(folder))  # noqa: B010 - numba's settings are made at run time
    return folder


def _remove_old(home: Path, keep: Path) -> None:
    folders = sorted(home.glob("kernels-*"), key=lambda p: p.stat().st_mtime, reverse=True)
    for old in [f for f in folders if f != keep][KEPT_FOLDERS - 1 :]:
        shutil.rmtree(old, ignore_errors=True)


def jit_is_off() -> bool:
    """Whether kernels run in plain Python, to be debugged (NUMBA_DISABLE_JIT=1)."""
    import numba

    return bool(getattr(numba.config, "DISABLE_JIT"))  # noqa: B009 - numba's settings are made at run time


def scalar(function: Function) -> Function:
    """Compile a function that kernels call, on numbers and tuples of them, and on arrays that others made.

    Without numba's runtime it cannot allocate, so that it could run on a GPU, and counts no references to arrays, which takes
    longer than the work itself. Without a wrapper it compiles sooner, and only compiled functions can call it.
    """
    import numba

    options = dict(error_model="numpy", _nrt=False, no_cpython_wrapper=True, no_cfunc_wrapper=True)
    njit = getattr(numba, "njit")  # noqa: B009 - numba's annotations lack half of its options
    return njit(cache=True, **options)(function)
