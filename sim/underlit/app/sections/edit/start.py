"""The first minute: a few questions to someone who has no scene, and a scene out of the answers, with nothing else in it."""

from __future__ import annotations

from dataclasses import dataclass, field

from nicegui import ui

from underlit.app.document import Document, DocumentError
from underlit.app.section import Page, Section
from underlit.app.sections.pieces import choice, entries, number
from underlit.catalogue import Kind, load_catalogue
from underlit.scene import Need, scene_from_dict

PLACES = {"in front": (0.02, 0.35), "in the middle": (0.35, 0.65), "at the back": (0.65, 0.98)}
"""Where what will grow: shares of the tank's depth from the front."""
SIDES = (0.02, 0.98)
"""From where to where such a zone reaches: shares of the tank's length."""
BACKS = {
    "nothing": {"behind": "open air"},
    "a black sheet": {"behind": "sheet", "colour": "black"},
    "a white sheet": {"behind": "sheet", "colour": "white"},
    "black paint": {"behind": "paint", "colour": "black"},
}
UNSAID = "don't know"


@dataclass
class Answers:
    """What the questions ask; what is empty was not answered."""

    tank: str = ""
    watts: float | None = None
    lumens: float | None = None
    light_length: float | None = None
    fixture: str = ""
    lid: str = ""
    back: str = ""
    co2: str = ""
    settled: str = ""
    growing: dict[str, str] = field(default_factory=dict)


def scene_text(answers: Answers, units: str) -> str:
    """A scene in TOML out of the answers; what they leave open is left out and named as assumed.

    Raises DocumentError where a question that needs an answer has none.
    """
    if not answers.tank:
        raise DocumentError("choose a tank")
    document = Document("# Made from a few answers; what is not said here is listed under the assumptions.\n")
    document.set("title", value=answers.tank)
    for key, said in (("added_co2", answers.co2), ("settled", answers.settled)):
        document.set(key, value=said == "yes" if said else None)
    document.set("tank", "from", value=answers.tank)
    if answers.back:
        document.set("tank", "back", value=BACKS[answers.back])
    document.set("lid", "from", value=answers.lid or None)
    document.add("fixture", _light(answers, units))
    for place, plant in answers.growing.items():
        if plant:
            document.add("zone", _zone(answers.tank, place, plant))
    return document.text


def _light(answers: Answers, units: str) -> dict[str, object]:
    if answers.fixture:
        return {"from": answers.fixture}
    output = {"watts": answers.watts and f"{answers.watts:g} W", "lumens": answers.lumens and f"{answers.lumens:g} lm"}
    length = answers.light_length and f"{answers.light_length:g} {units}"
    said = {"output": {key: text for key, text in output.items() if text}, "length": length}
    if not any(said.values()):
        raise DocumentError("give the watts, lumens or length of the light, or choose a typical one")
    return {key: value for key, value in said.items() if value}


def _zone(tank: str, place: str, plant: str) -> dict[str, object]:
    entry = load_catalogue().find(Kind.TANK, tank)
    name = entry.name if entry else tank
    length, depth, _ = scene_from_dict({"tank": {"from": name}, "fixture": [{"length": "30 cm"}]}).tank.inside_m
    low, high = PLACES[place]
    corners = [
        [f"{100 * length * x:.1f} cm", f"{100 * depth * y:.1f} cm"] for x, y in zip(SIDES, (low, high), strict=True)
    ]
    return {"name": place, "rectangle": corners, "need" if plant in set(Need) else "for": plant}


class Start(Section):
    """The questions, in a dialog that opens for someone who has no tank yet."""

    def __init__(self, page: Page) -> None:
        self._page, self._answers = page, Answers()
        with (
            ui.dialog().props('persistent aria-label="Start a new tank"') as self._dialog,
            ui.card().classes("start"),
        ):
            ui.label("Start a new tank").classes("heading").props('role="heading" aria-level="2"')
            said = "Answer what you know. Typical values are assumed for the rest, and listed as assumptions."
            ui.label(said).classes("quiet")
            self._tank()
            self._light()
            self._growing()
            with ui.row().classes("ends"):
                show = ui.button("Show the light", color=None, on_click=self._begin)
                show.props("unelevated no-caps").classes("strong")
                ui.button("Cancel", on_click=self._dialog.close).props("flat no-caps")

    def open(self) -> None:
        """Ask."""
        self._dialog.open()

    def scene_changed(self) -> None:
        """Asked without being called where there is no tank yet."""
        if not self._page.session.variants:
            self._dialog.open()

    def _tank(self) -> None:
        with ui.row().classes("fields"):
            self._choice("Which tank?", {"": "choose", **entries(Kind.TANK)}, "tank")
            self._choice("What covers it?", {"": "nothing (open)", **entries(Kind.LID)}, "lid")
            self._choice("What is behind the back pane?", {"": UNSAID, **{words: words for words in BACKS}}, "back")

    def _light(self) -> None:
        ui.label("What does the box of the light say? One value is enough.").classes("quiet")
        length = f"Length ({self._page.session.units})"
        with ui.row().classes("fields"):
            for label, key, most in (("Watts", "watts", 1e3), ("Lumens", "lumens", 1e5), (length, "light_length", 300)):
                number(label, most=most).bind_value(self._answers, key).props("clearable")
            self._choice("Or choose a typical light", {"": "none of these", **entries(Kind.FIXTURE)}, "fixture")

    def _growing(self) -> None:
        options = {"": "nothing", **{str(n): f"{n} plants" for n in Need}, **entries(Kind.PLANTS)}
        with ui.row().classes("fields"):
            for place in PLACES:
                select = choice(f"What will grow {place}?", options, "")
                select.on_value_change(lambda event, p=place: self._answers.growing.__setitem__(p, event.value))
        with ui.row().classes("fields"):
            for label, key in (("Is CO2 added?", "co2"), ("Is the tank older than four weeks?", "settled")):
                self._choice(label, {"": UNSAID, "yes": "yes", "no": "no"}, key)

    def _choice(self, label: str, options: dict[str, str], key: str) -> None:
        choice(label, options, "").bind_value(self._answers, key)

    def _begin(self) -> None:
        session = self._page.session
        if self._page.act(lambda: session.begin(scene_text(self._answers, session.units))):
            self._dialog.close()
