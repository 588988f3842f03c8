#!/usr/bin/env python3
"""Make the environment and install the project into it: `python3 .ci/environment.py [extras] [--into FOLDER]`.

Needs only python3 (3.11 or newer). Debian ships python3 without what `python3 -m venv` needs, so where that fails this
script asks apt for python3-venv (as root, or by sudo where that needs no password), then tries the pip or virtualenv that is
there, and otherwise says in one line what to install. It asks apt, too, for the software GL that pictures need.
"""

import argparse
import os
import shutil
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
OLDEST = (3, 11)
EXTRAS = ("app", "pdf", "cluster", "test", "dev", "bench")
PICTURES = ("libegl1", "libgl1-mesa-dri")
"""Software GL: without it there is no view.png."""
PACKAGES = {
    "pdf": ("libpango-1.0-0", "libpangoft2-1.0-0", "libharfbuzz-subset0"),
    "test": ("libatomic1", "chromium", "libpango-1.0-0", "libpangoft2-1.0-0", "libharfbuzz-subset0"),
    "bench": ("libatomic1",),
}
"""What the Python packages of an extra want of the system: Pango prints, libatomic serves Mitsuba, Chromium visits the app."""


def works(python: Path) -> bool:
    """Whether an environment's Python is there, new enough and has pip."""
    check = f"import sys, pip; sys.exit(sys.version_info < {OLDEST})"
    return python.exists() and subprocess.run([python, "-c", check], capture_output=True).returncode == 0


def attempt(*command: str | Path) -> bool:
    """Run a command quietly; whether it succeeded."""
    try:
        return subprocess.run(command, capture_output=True, stdin=subprocess.DEVNULL).returncode == 0
    except OSError:
        return False


def is_missing(package: str) -> bool:
    """Whether a Debian package is not installed; False where there is no dpkg to ask."""
    try:
        asked = subprocess.run(
            ["dpkg-query", "-W", "-f", "${db:Status-Status}", package], capture_output=True, text=True
        )
    except OSError:
        return False
    return asked.stdout != "installed"


def install_packages(packages: list[str]) -> bool:
    """Ask Debian's apt for packages; False where there is no apt or no right to use it."""
    if shutil.which("apt-get") is None:
        return False
    rights = [] if os.geteuid() == 0 else ["sudo", "-n"]
    if rights and not attempt("sudo", "-n", "true"):
        return False
    print(f"asking apt for {' '.join(packages)}", flush=True)
    quiet = [*rights, "env", "DEBIAN_FRONTEND=noninteractive", "apt-get"]
    attempt(*quiet, "update")
    return attempt(*quiet, "install", "-y", "--no-install-recommends", *packages)


def add_packages(extras: list[str]) -> None:
    """See to the Debian packages that the Python ones need; without them all but what they are for works."""
    wanted = list(dict.fromkeys([*PICTURES, *(package for extra in extras for package in PACKAGES.get(extra, ()))]))
    missing = [package for package in wanted if is_missing(package)]
    if missing and not install_packages(missing):
        print(f"going on without {' '.join(missing)}; to have it: apt-get install {' '.join(missing)}", flush=True)


def make(folder: Path) -> bool:
    """Make the environment by whatever means this machine has."""
    python, this = folder / "bin" / "python", sys.executable

    def venv() -> bool:
        shutil.rmtree(folder, ignore_errors=True)
        return attempt(this, "-m", "venv", folder) and works(python)

    def pip_from_outside() -> bool:
        shutil.rmtree(folder, ignore_errors=True)
        bare = attempt(this, "-m", "venv", "--without-pip", folder)
        return bare and attempt(this, "-m", "pip", "--python", python, "install", "pip") and works(python)

    def virtualenv() -> bool:
        shutil.rmtree(folder, ignore_errors=True)
        return attempt(this, "-m", "virtualenv", folder) and works(python)

    return venv() or (install_packages(["python3-venv"]) and venv()) or pip_from_outside() or virtualenv()


def main() -> int:
    """Make the environment if it is not there, install into it; returns the exit status."""
    parser = argparse.ArgumentParser(description="Make the environment and install the project into it.")
    parser.add_argument("extras", nargs="*", help=f"install what these need, too: {', '.join(EXTRAS)}")
    parser.add_argument("--into", type=Path, default=Path(".venv"), metavar="FOLDER", help="default: .venv")
    asked = parser.parse_args()
    if unknown := set(asked.extras) - set(EXTRAS):
        parser.error(f"no extra named {sorted(unknown)[0]!r}; there are {', '.join(EXTRAS)}")
    if sys.version_info < OLDEST:
        print(f"Python {OLDEST[0]}.{OLDEST[1]} or newer is needed (this is {sys.version.split()[0]})", file=sys.stderr)
        return 2
    folder = asked.into if asked.into.is_absolute() else ROOT / asked.into
    python = folder / "bin" / "python"
    if not works(python):
        print(f"making {folder}", flush=True)
        if not make(folder):
            print("no environment could be made: install python3-venv (apt-get install python3-venv)", file=sys.stderr)
            return 2
    add_packages(asked.extras)
    what = f"{ROOT}[{','.join(asked.extras)}]" if asked.extras else str(ROOT)
    print(f"installing underlit and what it needs into {folder}: a few minutes the first time", flush=True)
    pip = [python, "-m", "pip", "install", "--quiet", "--disable-pip-version-check", "--editable", what]
    return subprocess.run(pip, stdin=subprocess.DEVNULL).returncode


if __name__ == "__main__":
    sys.exit(main())
