"""A scene's text as a file for a while, for what reads files; and scenes laid on it made whole again."""

from __future__ import annotations

import base64
import secrets
import tempfile
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

from underlit.app.document import DRAFT, adopted
from underlit.results.atomic import write_text


@contextmanager
def on_disk(folder: Path, text: str) -> Iterator[Path]:
    """A file with a scene's text among the files that it names; gone afterwards."""
    path = folder / f"{secrets.token_hex(8)}{DRAFT}"
    write_text(path, text)
    try:
        yield path
    finally:
        path.unlink(missing_ok=True)


def made_whole(folder: Path, texts_for: Callable[[Path], Mapping[Path, str]]) -> str:
    """A scene that lies on others as one text; scenes of other tanks of its rack that were made with it go into `folder`.

    texts_for: gives the texts by path, for a scene that is to stand at the path which it is called with.
    """
    with tempfile.TemporaryDirectory() as place:
        path = Path(place) / "changed.toml"
        for each, text in texts_for(path).items():
            write_text(each, text)
        return adopted(path, folder)


def picture(draw: Callable[[Path], object]) -> str:
    """What a function draws to a path, as the address of a PNG in itself."""
    return "data:image/png;base64," + base64.b64encode(drawn("picture.png", draw)).decode()


def drawn(name: str, draw: Callable[[Path], object]) -> bytes:
    """What a function writes to a path whose last part is `name`."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / name
        draw(path)
        return path.read_bytes()
