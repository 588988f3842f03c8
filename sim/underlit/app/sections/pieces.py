"""Small pieces that sections build alike: framed things, tables, pictures, lists of sentences, inputs, names of files."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from contextlib import contextmanager
from mimetypes import guess_type

from nicegui import ui

from underlit.app.document import own_tank
from underlit.app.section import Page
from underlit.app.session import Side
from underlit.catalogue import Kind, load_catalogue
from underlit.scene import Scene

LONG = 16
"""Letters from which a cell of a table is read as text, from the left."""
Cell = str | Callable[[], object]


@contextmanager
def thing(title: str) -> Iterator[None]:
    """A frame with a title around the inputs of one thing."""
    with ui.element("fieldset").classes("thing"):
        with ui.element("legend"):
            ui.label(title)
        yield


def choice(
    label: str, options: Mapping[str, str], value: str, changed: Callable[..., object] | None = None
) -> ui.select:
    """A list to choose from that says nothing of the scene."""
    made = ui.select(dict(options), label=label, value=value, on_change=changed).classes("field")
    return made.props("dense outlined options-dense")


class TankChoice:
    """Which tank of a rack a card is about; out of sight where there is but one tank. changed: called when another is chosen."""

    def __init__(self, changed: Callable[..., object]) -> None:
        self._field = choice("Tank of the rack", {"": ""}, "", changed)
        self._field.set_visibility(False)

    @property
    def name(self) -> str:
        """Name of the tank in the rack; empty for the scene's own."""
        return str(self._field.value or "")

    def follow(self, scene: Scene) -> None:
        """Offer the tanks of a scene."""
        names = {"": own_tank(scene)} | {tank.name: tank.name for tank in scene.rack}
        self._field.set_options(names, value=self.name if self.name in names else "")
        self._field.set_visibility(bool(scene.rack))

    def seen(self, scene: Scene) -> Scene:
        """The scene as seen from the tank."""
        return scene.seen_from(self.number_in(scene), own_tank(scene))

    def number_in(self, scene: Scene) -> int:
        """Number of the tank in the rack."""
        names = ["", *(tank.name for tank in scene.rack)]
        return names.index(self.name) if self.name in names else 0


def several(
    label: str, options: Mapping[str, str], value: list[str], changed: Callable[..., object] | None = None
) -> ui.select:
    """A list to choose several from."""
    made = ui.select(dict(options), label=label, value=value, multiple=True, on_change=changed).classes("wide")
    return made.props("dense outlined options-dense")


def number(label: str, value: float | None = None, most: float | None = None, step: float | None = None) -> ui.number:
    """A number from 0 that says nothing of the scene."""
    made = ui.number(label, value=value, min=0, max=most, step=step).classes("field")
    return made.props("dense outlined")


def price_number() -> ui.number:
    """What a kWh costs."""
    return number("Price per kWh", most=999, step=0.01).props('clearable debounce="400"')


def numbers(heads: Sequence[str], rows: Sequence[Sequence[Cell]], label: str) -> None:
    """A table; the first cell of a row is its head. A cell that is a function builds itself."""
    region = ui.element("div").classes("scrolls").props(f'tabindex="0" role="region" aria-label="{label}"')
    with region, ui.element("table").classes("numbers"):
        with ui.element("thead"), ui.element("tr"):
            for head in heads:
                with ui.element("th").props('scope="col"'):
                    ui.label(head)
        with ui.element("tbody"):
            for row in rows:
                with ui.element("tr"):
                    for k, cell in enumerate(row):
                        with ui.element("td") if k else ui.element("th").props('scope="row"') as place:
                            if isinstance(cell, str):
                                ui.label(cell)
                                place.classes("long" if len(cell) > LONG else "")
                            else:
                                cell()


def sentences(lines: Sequence[str]) -> None:
    """A list of sentences, each with a capital."""
    listed([line[:1].upper() + line[1:] for line in lines])


def listed(lines: Sequence[str]) -> None:
    """A list of lines as they are."""
    with ui.element("ul").classes("words"):
        for line in lines:
            with ui.element("li"):
                ui.label(line)


def image(address: str, words: str) -> None:
    """A picture by its address, and a way to see it large; words: what it shows, for those who do not see it."""
    _image(address, words)
    with ui.dialog().props(f'maximized aria-label="{words}"') as large, ui.card().classes("large"):
        ui.button("Close", on_click=large.close).props("flat no-caps")
        place = ui.element("div")

    def show() -> None:
        place.clear()
        with place:
            _image(address, words)
        large.open()

    ui.button("Enlarge", on_click=show).props("flat dense no-caps")


def _image(address: str, words: str) -> None:
    made = ui.element("img").classes("drawing")
    made.props["src"], made.props["alt"] = address, words


def hand_over(page: Page, ending: str) -> Callable[[bytes | str], None]:
    """A function that lets the visitor save a file, named after the title of the tank in hand."""

    def save(content: bytes | str) -> None:
        title = page.scene.title if page.scene else ""
        words = "".join(c if c.isalnum() else "-" for c in title.lower()).strip("-") or "tank"
        ui.download.content(content, f"{words[:60]}{ending}", guess_type(ending)[0] or "application/toml")

    return save


def other_side(page: Page) -> Side:
    """The variant that is not in hand."""
    return Side.B if page.session.side is Side.A else Side.A


def use_as_other(page: Page, text: str, what: str) -> None:
    """Make a scene the session's other variant."""
    side = other_side(page)
    if page.act(lambda: page.session.begin(text, side)):
        ui.notify(f"Tank {side} is now {what}. It is being traced.", type="positive")


def entries(kind: Kind) -> dict[str, str]:
    """Names of the catalogue's entries of a kind, for a list to choose from."""
    return {entry.name: entry.name for entry in load_catalogue().entries if entry.kind is kind}


def another_name(name: str, taken: Collection[str]) -> str:
    """The name, with a number where it is taken."""
    if name not in taken:
        return name
    return next(f"{name} {k}" for k in range(2, len(taken) + 3) if f"{name} {k}" not in taken)
