"""The first minute: a few questions to someone who has no scene, and a tank with sensible defaults out of the answers."""

from __future__ import annotations

from dataclasses import dataclass, field

from nicegui import ui

from underlit.app.section import Page
from underlit.app.sections.names import entries
from underlit.catalogue import Kind, load_catalogue
from underlit.scene import Need

PLACES = {"in front": (0.02, 0.35), "in the middle": (0.35, 0.65), "at the back": (0.65, 0.98)}
"""Where what will grow: shares of the tank's depth from the front."""
NOTHING = "nothing"
BACKS = {
    "open air": "nothing",
    "sheet black": "a black sheet",
    "sheet white": "a white sheet",
    "paint black": "black paint",
}


@dataclass
class Answers:
    """What the questions ask, with what is taken where nobody answers."""

    tank: str = "40 breeder"
    watts: float | None = 30.0
    lumens: float | None = None
    light_length: float | None = None
    fixture: str = ""
    lid: str = "glass top in use"
    back: str = "sheet black"
    co2: bool = False
    settled: bool = False
    growing: dict[str, str] = field(
        default_factory=lambda: {"in front": str(Need.MEDIUM), "in the middle": str(Need.UNDEMANDING)}
    )


def scene_text(answers: Answers, units: str) -> str:
    """A scene in TOML out of the answers; what they leave open is left to the scene's defaults and named as assumed."""
    lines = [
        "# Made from a few answers; what is not said here is listed under the assumptions.",
        f'title = "{answers.tank}"',
    ]
    lines += [f"added_co2 = {str(answers.co2).lower()}", f"settled = {str(answers.settled).lower()}", ""]
    lines += ["[tank]", f'from = "{answers.tank}"', ""]
    if answers.back != "open air":
        behind, _, colour = answers.back.rpartition(" ")
        lines += ["[tank.back]", f'behind = "{behind}"', f'colour = "{colour}"', ""]
    if answers.lid != NOTHING:
        lines += ["[lid]", f'from = "{answers.lid}"', ""]
    lines += ["[substrate]", 'from = "dark soil"', "", *_light(answers, units)]
    lines += _zones(answers)
    return "\n".join(lines) + "\n"


def _light(answers: Answers, units: str) -> list[str]:
    lines = ["[[fixture]]", 'name = "light"', 'above_rim = "5 cm"']
    if answers.fixture:
        return [*lines, f'from = "{answers.fixture}"', ""]
    said = [f'watts = "{answers.watts:g} W"'] if answers.watts else []
    said += [f'lumens = "{answers.lumens:g} lm"'] if answers.lumens else []
    if said:
        lines.append(f"output = {{ {', '.join(said)} }}")
    if answers.light_length:
        lines.append(f'length = "{answers.light_length:g} {units}"')
    return [*lines, ""]


def _zones(answers: Answers) -> list[str]:
    lines: list[str] = []
    for place, plant in answers.growing.items():
        if not plant:
            continue
        length, depth = _inside(answers.tank)
        low, high = (depth * share for share in PLACES[place])
        aim = f'need = "{plant}"' if plant in set(Need) else f'for = "{plant}"'
        corners = f'[["{2 * length:.1f} cm", "{100 * low:.1f} cm"], ["{98 * length:.1f} cm", "{100 * high:.1f} cm"]]'
        lines += ["[[zone]]", f'name = "{place}"', f"rectangle = {corners}", aim, ""]
    return lines


def _inside(tank: str) -> tuple[float, float]:
    """Inside length and depth of a trade size [m]."""
    from underlit.scene import scene_from_dict

    entry = load_catalogue().find(Kind.TANK, tank)
    name = entry.name if entry else tank
    light = {"name": "light", "output": {"watts": "10 W"}}
    length, depth, _ = scene_from_dict({"tank": {"from": name}, "fixture": [light]}).tank.inside_m
    return length, depth


class Start:
    """The questions, in a dialog that opens for someone who has no tank yet."""

    def __init__(self, page: Page) -> None:
        self._page, self._answers = page, Answers()
        with (
            ui.dialog().props('persistent aria-label="A tank in a minute"') as self._dialog,
            ui.card().classes("start"),
        ):
            ui.label("A tank in a minute").classes("heading").props('role="heading" aria-level="2"')
            ui.label("Answer what you know; the rest is taken as usual, and said.").classes("quiet")
            self._tank()
            self._light()
            self._growing()
            with ui.row().classes("ends"):
                ui.button("Show me the light", color=None, on_click=self._begin).props("unelevated no-caps").classes(
                    "strong"
                )
                ui.button("Cancel", on_click=self._dialog.close).props("flat no-caps")

    def open(self) -> None:
        """Ask."""
        self._dialog.open()

    def scene_changed(self) -> None:
        """Asked without being called where there is no tank yet."""
        if not self._page.session.variants:
            self._dialog.open()

    def light_changed(self) -> None:
        """Shows no light."""

    def _tank(self) -> None:
        with ui.row().classes("fields"):
            _choice("Which tank?", entries(Kind.TANK), self._answers, "tank")
            _choice("What lies on it?", {NOTHING: "nothing, it is open", **entries(Kind.LID)}, self._answers, "lid")
            _choice("What is behind it?", BACKS, self._answers, "back")

    def _light(self) -> None:
        answers, units = self._answers, self._page.session.units
        ui.label("What does the light's box say? One of these is enough.").classes("quiet")
        with ui.row().classes("fields"):
            for label, key, most in (
                ("Watts", "watts", 1000),
                ("Lumens", "lumens", 100_000),
                (f"Length ({units})", "light_length", 300),
            ):
                number = ui.number(label, value=getattr(answers, key), min=0, max=most).bind_value(answers, key)
                number.props("dense outlined clearable").classes("field")
            _choice("Or take one like", {"": "none of these", **entries(Kind.FIXTURE)}, answers, "fixture")

    def _growing(self) -> None:
        answers = self._answers
        with ui.row().classes("switches"):
            ui.switch("CO2 is added").bind_value(answers, "co2")
            ui.switch("The tank is older than four weeks").bind_value(answers, "settled")
        options = {"": "nothing", **{str(n): f"{n} plants" for n in Need}, **entries(Kind.PLANTS)}
        with ui.row().classes("fields"):
            for place in PLACES:
                select = ui.select(options, label=f"What will grow {place}?", value=answers.growing.get(place, ""))
                select.props("dense outlined options-dense").classes("field")
                select.on_value_change(lambda event, p=place: answers.growing.__setitem__(p, event.value))

    def _begin(self) -> None:
        text = scene_text(self._answers, self._page.session.units)
        if self._page.act(lambda: self._page.session.begin(text)):
            self._dialog.close()


def _choice(label: str, options: dict[str, str], answers: Answers, key: str) -> None:
    select = ui.select(options, label=label, value=getattr(answers, key)).bind_value(answers, key)
    select.props("dense outlined options-dense").classes("field")
