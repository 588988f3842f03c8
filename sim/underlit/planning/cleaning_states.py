"""Two states of one tank that everybody compares: clean and before cleaning, trimmed and grown.

What a week or a month puts on the fixtures, the lid, the panes and into the water is taken from common practice (no source) and
listed with its range, so that the answer names its assumptions. Growth follows the rule of `scene.growth`.
"""

from __future__ import annotations

from dataclasses import dataclass

from underlit.scene import Scene
from underlit.scene.aquascape.growth import RATES_ARE_KNOWN_TO
from underlit.scene.aquascape.plants import PlantKind, Plants
from underlit.scene.tank.panes import PaneState
from underlit.scene.tank.tank import SIDES
from underlit.scene.tank.water import Tannin
from underlit.scene.targets import PRACTICE

CLEAN_FIXTURE, DUSTY_FIXTURE = 1.0, 0.90
CLEAN_LID, DIRTY_LID = 1.0, 0.80
"""Share that dirt on a glass top lets through: with the glass and condensation it takes 11 % in all wiped, 29 % dirty."""
FILM_PASSES = 0.90
"""What a light film of algae leaves of the light that a pane returns per reflection."""
PLANTED_WIPED, PLANTED_FILMED = 0.40, 0.10
"""What overgrown panes return per reflection, just wiped and grown over, where the scene gives no number."""
OLD_WATER_A440_PER_M = 0.4
"""Tint of a tank's ordinary water at 440 nm [1/m], the least that is taken for the day before cleaning."""
CHANGED_WATER = 0.5
"""Share of the water changed when cleaning."""


@dataclass(frozen=True)
class Differs:
    """One thing that differs between two states of a tank: as taken in each, its range, and where that comes from."""

    what: str
    first: str
    second: str
    span: str
    source: str = PRACTICE


def cleaning_pair(scene: Scene) -> tuple[Scene, Scene, list[Differs]]:
    """(clean day, the day before cleaning, what differs between them)."""
    told = [
        Differs(
            "dirt on the fixtures: light that passes",
            f"{CLEAN_FIXTURE:g}",
            f"{DUSTY_FIXTURE:g}",
            "0.85-0.95 when not wiped",
        ),
        _water(scene),
        _panes(scene),
    ]
    if scene.lid is not None:
        span = "the whole glass top: clean takes 8-15 %, in use 15-30 %, crusted 30-50 %"
        told.append(Differs("dirt on the lid: light that passes", f"{CLEAN_LID:g}", f"{DIRTY_LID:g}", span))
    if scene.rack:
        told.append(
            Differs("other tanks of the rack", "as they are", "as they are", "only this scene's own tank is cleaned")
        )
    return _state(scene, clean=True), _state(scene, clean=False), told


def _tints(scene: Scene) -> tuple[float, float]:
    """Absorption of tannins at 440 nm on the clean day and the day before cleaning [1/m]."""
    said = scene.water.tannin.absorption_440_per_m
    before = max(said, OLD_WATER_A440_PER_M)
    return min(said, (1 - CHANGED_WATER) * before), before


def _water(scene: Scene) -> Differs:
    clean, before = _tints(scene)
    return Differs(
        "tint of the water at 440 nm, per m", f"{clean:g}", f"{before:g}",
        "ordinary 0.3-0.5, carbon-filtered 0.05-0.1; a quarter to all of the water changed",
    )  # fmt: skip


def _returned(scene: Scene, side: str, *, clean: bool) -> float:
    if scene.pane_state(side) is PaneState.OVERGROWN:
        return PLANTED_WIPED if clean else PLANTED_FILMED
    full = scene.returned_per_reflection(side)
    return full if clean else full * FILM_PASSES


def _panes(scene: Scene) -> Differs:
    sides = [side for side in SIDES if side != "bottom"]
    spans = []
    for clean in (True, False):
        shares = sorted({_returned(scene, side, clean=clean) for side in sides})
        spans.append("-".join(dict.fromkeys(f"{s:.3g}" for s in (shares[0], shares[-1]))))
    return Differs(
        "panes: light returned per reflection",
        spans[0],
        spans[1],
        "planted tank 0.1-0.4; a light film takes 5-15 %, green 30-60 %",
    )


def _state(scene: Scene, *, clean: bool) -> Scene:
    fixture_passes, lid_passes = (CLEAN_FIXTURE, CLEAN_LID) if clean else (DUSTY_FIXTURE, DIRTY_LID)
    fixtures = tuple(
        f.model_copy(update={"light_loss_factors": f.light_loss_factors.model_copy(update={"dirt": fixture_passes})})
        for f in scene.fixtures
    )
    tint = Tannin(a440_per_m=_tints(scene)[0 if clean else 1], slope_per_nm=scene.water.tannin.slope_per_nm)
    walls = {
        side: wall.model_copy(update={"returned_per_reflection": _returned(scene, side, clean=clean)})
        for side, wall in scene.tank.walls.items()
        if side != "bottom"
    }
    changed = {
        "fixtures": fixtures,
        "water": scene.water.model_copy(update={"tannin": tint}),
        "tank": scene.tank.model_copy(update=walls),
    }
    if scene.lid is not None:
        changed["lid"] = scene.lid.model_copy(update={"dirt": lid_passes})
    return scene.model_copy(update=changed)


def growing_pair(scene: Scene, weeks: float) -> tuple[Scene, Scene, list[Differs]]:
    """(freshly trimmed, so many weeks later, what differs between them). ValueError where nothing in the scene grows."""
    states = []
    for grown in (0.0, weeks):
        plants = tuple(p if p.kind is PlantKind.MESH else p.model_copy(update={"grown": grown}) for p in scene.plants)
        states.append(scene.model_copy(update={"plants": plants}))
    pairs = [(a, b) for a, b in zip(states[0].plants, states[1].plants, strict=True) if a.kind is not PlantKind.MESH]
    if not pairs:
        raise ValueError("the scene has no plants that grow")
    return states[0], states[1], [_grown(scene, a, b) for a, b in pairs]


def _grown(scene: Scene, trimmed: Plants, grown: Plants) -> Differs:
    lowest = float(scene.substrate.grid_m.min())
    room = scene.water_level_m - lowest
    texts = []
    for group in (trimmed, grown):
        stand, factor = group.stand(added_co2=scene.has_added_co2, room_m=room)
        tall = [] if stand.height_m is None else [f"{100 * stand.height_m:.3g} cm"]
        thick = [] if factor is None or group is trimmed else [f"leaf area x {factor:.2g}"]
        texts.append(", ".join([*tall, *thick]) or "as planted")
    span = f"plants grow at 1/{RATES_ARE_KNOWN_TO:g} to {RATES_ARE_KNOWN_TO:g} times the rate taken"
    return Differs(grown.name, texts[0], texts[1], span)
