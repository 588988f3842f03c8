"""Light that no plant uses, in words: the sentence, where the threshold comes from, what would lower it."""

from __future__ import annotations

from collections.abc import Sequence

from underlit.lowering.records import Role
from underlit.planning.algae import BOTTOM, FLOATING_COVER, FLOATING_TAKE, WORTH_SAYING, Algae
from underlit.report.decisions.decision import grows_there
from underlit.report.numbers import light, percent
from underlit.scene import Scene


def algae_lead(found: Algae) -> str:
    """The sentence that says how much of the light falls where no plant uses it."""
    things = [BOTTOM if any(one.name == BOTTOM for one in found.surfaces) else "substrate"]
    if any(one.role in (Role.WOOD, Role.STONE) for one in found.surfaces):
        things.append("hardscape")
    on = listed([*things, "panes"] if found.panes else things)
    over = f"brighter than {found.threshold:g} umol/m2/s"
    if found.share.value < WORTH_SAYING:
        return f"Hardly any light falls on {on} where no plant uses it and it is {over}."
    most = max(found.surfaces, key=lambda one: one.light.value)
    several = sum(one.light.value > 0 for one in found.surfaces) > 1
    where = f", most of it on {most.name}" if several else ""
    return (
        f"{percent(found.share.value)} of the light falls on {on} where no plant uses it and it is {over}{where}: algae may grow "
        "there."
    )


def dimmed_words(found: Algae) -> str:
    """How far dimming lowers it; nothing where it does not."""
    if found.dimmed is None:
        return ""
    return f"Dimmed to {percent(found.dimmed.setting)}, {_at_most(found.dimmed.share)} of the light does."


def _at_most(share: float) -> str:
    return "less than 1 %" if share < 0.005 else percent(share)


def threshold_words(scene: Scene, found: Algae) -> str:
    """Where the threshold comes from."""
    co2 = "with added CO2" if scene.has_added_co2 else "without added CO2"
    age = "in a settled tank" if scene.is_settled else "in a new tank"
    text = f"threshold {co2} {age}: about {found.threshold:g} umol/m2/s (common practice, no source)"
    unsaid = {"whether CO2 is added": scene.added_co2, "whether it is a new tank": scene.settled}
    open_ones = [words for words, said in unsaid.items() if said is None]
    if open_ones:
        text += f"; the scene does not say {' or '.join(open_ones)}"
    if found.waiting:
        text += "; the plants of a zone with a target are taken to use light up to the top of its band"
    return text


def what_lowers_it(found: Algae, scene: Scene) -> list[str]:
    """What would lower the share of the light, with what it would then be."""
    if found.share.value < WORTH_SAYING:
        return []
    lines = []
    if found.dimmed is not None:
        kept = "; what is planted and planned still gets what it needs" if found.wants else ""
        if found.dimmed.suits_zones:
            kept = ", and it is the setting that suits the zones"
        lines.append(
            f"Dim to {percent(found.dimmed.setting)}: {_at_most(found.dimmed.share)} of the light is left there{kept}."
        )
    elif found.too_dim:
        lines.append(f"Dimming is no way: {listed(found.too_dim)} already gets too little light.")
    elif found.wants:
        lines.append("Dimming helps little before what is planted or planned gets too little light.")
    if found.ninth is not None:
        factor = 1.0 if found.dimmed is None else found.dimmed.factor
        suits = grows_there(factor * found.ninth.ppfd, scene)
        plants = f" for {suits} plants" if suits else ""
        dimmed = "" if found.dimmed is None else f" ({light(factor * found.ninth.ppfd)} when dimmed so)"
        lines.append(
            f"Plant the {found.ninth.place}: {percent(found.ninth.light)} of the light falls there on bare substrate, with "
            f"{light(found.ninth.ppfd)} umol/m2/s{dimmed}{plants}."
        )
    if found.floating is not None:
        low, high = (percent(share).removesuffix(" %") for share in FLOATING_TAKE)
        but = f", but {listed(found.starved)} would get too little" if found.starved else ""
        lines.append(
            f"Let plants float over {percent(FLOATING_COVER)} of the surface: they take {low}-{high} % of the light (common "
            f"practice); of the rest {_at_most(found.floating)} falls there{but}."
        )
    if found.hours > found.usual_hours:
        less = 1 - found.usual_hours / found.hours
        lines.append(
            f"Shorten the photoperiod from {found.hours:g} to {found.usual_hours:g} h (common practice): {percent(less)} less "
            "light a day, on plants too."
        )
    return lines


def listed(names: Sequence[str]) -> str:
    """`a, b and c`."""
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
