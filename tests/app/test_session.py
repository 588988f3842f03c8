"""One visitor's session without a page: edits, steps back, what is traced anew, and what is there after a restart."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

pytest.importorskip("nicegui")

from underlit.app.blobs import light_scale
from underlit.app.document import DocumentError
from underlit.app.light import Light, LightService, Order
from underlit.app.session import EARLIER_FILE, FILE, MOST_STEPS, Session, Side, paths_key
from underlit.app.sessions import EARLIER_FOLDER, Sessions
from underlit.lowering.scene import lower
from underlit.planning.zones import zone_reports
from underlit.results.condensed import condensed
from underlit.run import Refinement
from underlit.scene import load_scene, scene_from_dict

SCENES = Path(__file__).resolve().parents[2] / "scenes"
BARE = (SCENES / "bare-box.toml").read_text(encoding="utf-8")


class Orders(LightService):
    """A service that only writes down what it is asked."""

    def __init__(self) -> None:
        super().__init__()
        self.asked: list[Order] = []

    def ask(self, order: Order) -> None:
        """Remember."""
        self.asked.append(order)


@pytest.fixture
def session(tmp_path: Path) -> Session:
    made = Session("visitor", tmp_path, Orders())
    made.begin(BARE)
    return made


def asked(session: Session) -> list[Order]:
    """What the session has asked to be traced."""
    assert isinstance(session.service, Orders)
    return session.service.asked


def traced(order: Order) -> Light:
    """A few photons of an order, as the service hands them over."""
    lowered = lower(order.scene)
    result = Refinement(lowered.compiled, threads=1, dimming=lowered.dimming).step()
    assert result is not None
    reports = tuple(zone_reports(lowered, result))
    return Light(
        order.revision,
        lowered,
        condensed(result),
        reports,
        b"",
        b"",
        light_scale(result),
        2.0,
        "z",
        0.1,
        done=False,
    )


def test_a_move_is_traced_anew_and_can_be_taken_back(session: Session) -> None:
    session.set("fixture", 0, "above_rim", value="20 cm")
    assert [order.revision for order in asked(session)] == [1, 2]
    assert session.undo()
    assert session.variant is not None
    assert session.variant.text == BARE
    assert asked(session)[-1].scene.fixtures[0].above_rim == pytest.approx(0.05)
    assert not session.undo()
    assert session.redo()
    assert 'above_rim = "20 cm"' in session.variants[Side.A].text
    session.undo()
    session.set("fixture", 0, "above_rim", value="7 cm")
    assert not session.can_step(1), "a new way forward ends the old one"


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (("fixture", 0, "dimming"), 0.5), (("fixture", 0, "photoperiod"), "6 h"), (("title",), "another"),
        (("added_co2",), True), (("settled",), False), (("zone", 0, "need"), "demanding"), (("zone", 0, "why"), "so"),
        (("fixture", 0, "channel", 0, "dimming"), 0.5),
    ],
    ids=lambda value: ".".join(map(str, value)) if isinstance(value, tuple) else "",
)  # fmt: skip
def test_what_changes_no_path_of_light_is_not_traced(
    session: Session, path: tuple[str | int, ...], value: object
) -> None:
    session.set(*path, value=value)
    assert len(asked(session)) == 1
    assert session.variant is not None
    assert session.variant.revision == 1
    assert session.variant.text != BARE


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (("fixture", 0, "turn"), "5 deg"), (("water", "tannin"), "tea"), (("tank", "glass"), "low-iron"),
        (("zone", 0, "height"), "3 cm"), (("spot", 0, "at"), ["5 cm", "5 cm"]), (("substrate", "depth"), "3 cm"),
        (("fixture", 0, "output"), {"ppf": "5 umol/s", "watts": "2 W"}), (("lid",), {"thickness": "4 mm"}),
    ],
    ids=lambda value: ".".join(map(str, value)) if isinstance(value, tuple) else "",
)  # fmt: skip
def test_what_changes_light_is_traced(session: Session, path: tuple[str | int, ...], value: object) -> None:
    session.set(*path, value=value)
    assert len(asked(session)) == 2


def test_scenes_differ_where_light_does() -> None:
    keys = {paths_key(load_scene(SCENES / name)) for name in ("bare-box.toml", "carpet-plan.toml", "bow-front.toml")}
    assert len(keys) == 3


def test_dimming_answers_with_the_light_that_is_there(session: Session) -> None:
    """Half the dimming, half the light and its error, without a trace; the verdict follows."""
    order = asked(session)[0]
    order.found(traced(order))
    before = session.variants[Side.A].light
    assert before is not None
    session.set("fixture", 0, "dimming", value=0.5)
    after = session.variants[Side.A].light
    assert after is not None
    for old, new in zip(before.reports, after.reports, strict=True):
        assert new.ppfd.value == pytest.approx(0.5 * old.ppfd.value)
        assert new.ppfd.half_width == pytest.approx(0.5 * old.ppfd.half_width)
    assert after.result.photons == before.result.photons
    order.found(traced(order))
    late = session.variants[Side.A].light
    assert late is not None
    assert set(late.lowered.dimming.values()) == {0.5}, "light that comes later is dimmed too"


def test_light_of_an_older_tank_is_not_shown(session: Session) -> None:
    order = asked(session)[0]
    session.set("fixture", 0, "above_rim", value="20 cm")
    order.found(traced(order))
    order.failed(order.revision, "too late")
    assert session.variants[Side.A].light is None
    assert session.variants[Side.A].trouble == ""


def test_what_is_refused_changes_nothing(session: Session) -> None:
    for text in ("[tank", "", BARE.replace('"5 cm"', '"5 parsec"'), BARE.split("[[fixture]]")[0]):
        with pytest.raises(DocumentError):
            session.begin(text)
    with pytest.raises(DocumentError):
        session.set("fixture", 0, "above_rim", value="-9 m")
    assert session.variant is not None
    assert session.variant.text == BARE
    assert len(asked(session)) == 1
    assert not [path for path in session.folder.iterdir() if path.name.endswith("-draft.toml")]


def test_two_variants_have_histories_of_their_own(session: Session) -> None:
    session.copy_to_other()
    session.turn_to(Side.B)
    session.set("fixture", 0, "above_rim", value="20 cm")
    assert session.variants[Side.A].text == BARE
    assert [order.session for order in asked(session)] == ["visitor/A", "visitor/B", "visitor/B"]
    session.turn_to(Side.A)
    assert not session.undo()


def test_history_is_bounded(session: Session) -> None:
    for k in range(MOST_STEPS + 5):
        session.set("title", value=f"step {k}")
    assert len(session.variants[Side.A].texts) == MOST_STEPS


def test_a_session_is_there_after_a_restart(tmp_path: Path) -> None:
    first = Sessions(tmp_path, Orders()).of("a-visitor-of-mine")
    first.begin(BARE)
    first.set("fixture", 0, "above_rim", value="20 cm")
    first.copy_to_other()
    first.turn_to(Side.B)
    again = Sessions(tmp_path, Orders()).of("a-visitor-of-mine")
    assert again.side is Side.B
    assert again.variants[Side.A].text == first.variants[Side.A].text
    assert len(asked(again)) == 2, "and traced"
    again.turn_to(Side.A)
    assert again.undo()
    assert again.variants[Side.A].text == BARE


def test_a_session_of_an_earlier_release_opens(tmp_path: Path) -> None:
    """It lay in another folder and its file had another name."""
    first = Sessions(tmp_path / "sessions", Orders()).of("a-visitor-of-mine")
    first.begin(BARE)
    (first.folder / FILE).rename(first.folder / EARLIER_FILE)
    (tmp_path / "sessions").rename(tmp_path / EARLIER_FOLDER)
    again = Sessions(tmp_path / "sessions", Orders()).of("a-visitor-of-mine")
    assert again.variants[Side.A].text == BARE
    again.set("title", value="newer")
    newest = Sessions(tmp_path / "sessions", Orders()).of("a-visitor-of-mine")
    assert newest.variants[Side.A].scene.title == "newer"


@pytest.mark.parametrize(
    "kept", ["", "{", "[]", '{"units": "cm"}', '{"units": 1, "side": "C", "opened": "", "variants": {}}']
)
def test_a_broken_session_is_an_empty_one(tmp_path: Path, kept: str) -> None:
    (tmp_path / "a-visitor-of-mine").mkdir()
    (tmp_path / "a-visitor-of-mine" / "session.json").write_text(kept)
    assert Sessions(tmp_path, Orders()).of("a-visitor-of-mine").variants == {}


@pytest.mark.parametrize("key", ["", "..", "../../etc", "a/b-c-d-e-f", "x" * 65, "short", "nul\0nul\0nul"])
def test_keys_that_were_never_given_open_no_session(tmp_path: Path, key: str) -> None:
    with pytest.raises(ValueError, match="key"):
        Sessions(tmp_path / "sessions", Orders()).of(key)
    assert not list(tmp_path.iterdir())


def test_channels_are_dimmed_one_by_one(tmp_path: Path) -> None:
    """Dimming one channel leaves the others as they are."""
    session = Session("visitor", tmp_path, Orders())
    second = '\n[[fixture.channel]]\nname = "blue"\nspectrum = { peak = "450 nm", width = "20 nm" }\nshare = 0.3\n'
    text = BARE.replace('spectrum = "LED-B3"\n', 'spectrum = "LED-B3"\nshare = 0.7\n' + second)
    session.begin(text)
    order = asked(session)[0]
    order.found(traced(order))
    whole = session.variants[Side.A].light
    session.set("fixture", 0, "channel", 1, "dimming", value=0.0)
    white = session.variants[Side.A].light
    assert whole is not None
    assert white is not None
    assert len(asked(session)) == 1
    assert sorted(white.lowered.dimming.values()) == [0.0, 1.0]
    shares = np.array([new.ppfd.value / old.ppfd.value for old, new in zip(whole.reports, white.reports, strict=True)])
    assert np.all((shares > 0.4) & (shares < 0.95))


def test_a_dimmer_knows_what_it_dims() -> None:
    """Each dimmer's own sources at full, from wherever they stand; two dimmers of one light multiply."""
    from underlit.app.sections.edit.lights import at_full
    from underlit.lowering.fixtures import dimming
    from underlit.lowering.records import Source
    from underlit.scene import load_scene

    scene = load_scene(SCENES / "wide-tank-two.toml")
    first, *others = scene.fixtures
    red = first.channels[1].model_copy(update={"dimming": 0.25})
    dimmed = first.model_copy(update={"dimming": 0.5, "channels": (first.channels[0], red)})
    held = scene.model_copy(update={"fixtures": (dimmed, *others)})
    front, back = ({c: Source(fixture, c) for c in ("white", "red")} for fixture in ("front", "back"))
    levels = {front["white"]: 0.5, front["red"]: 0.125, back["white"]: 1.0, back["red"]: 1.0}
    assert dimming(held) == levels
    full = at_full(held)
    assert full["fixture.0.dimming"] == {front["white"]: 1.0, front["red"]: 0.25}
    assert full["fixture.0.channel.1.dimming"] == {front["red"]: 0.5}
    assert full["fixture.1.dimming"] == {back["white"]: 1.0, back["red"]: 1.0}


def test_a_need_that_plants_the_tank_asks_for_a_new_trace() -> None:
    """It makes panes of which nothing is said overgrown; another need then changes no path, nor does one where panes are said."""
    zone = {"name": "bed", "rectangle": [["1 cm", "1 cm"], ["20 cm", "15 cm"]]}

    def key(target: dict[str, object], **tank: object) -> str:
        tables = {"inside_size": ["30 cm", "20 cm", "20 cm"], **tank}
        return paths_key(scene_from_dict({"tank": tables, "fixture": [{"length": "20 cm"}], "zone": [zone | target]}))

    assert key({"need": "medium"}) == key({"need": "demanding"}) != key({"band": [20, 40]})
    assert key({"need": "medium"}, panes="clean") == key({"band": [20, 40]}, panes="clean")
