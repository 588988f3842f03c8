"""The decision in words: the sentence that every answer leads with, and a line for each zone that is not met."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from underlit.planning.decision import SECOND_LIGHT, By, Decision, LightSetting, Span, ZoneSetting
from underlit.planning.zones import Verdict
from underlit.report.numbers import light, percent
from underlit.scene import Need, Scene, band_for

NO_TARGET = "No zone has a target, so no setting can be named: give zones a `need` or a `band`."
RIGHT_AT = (
    "right at: setting of all lights together (share of full power of the brightest channel) at which the zone is right, both "
    "errors counted; ?: its mean lies in its band there, but its verdict is not sure"
)
_COUNTS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")
MOST_NAMED = 3
"""Zones that the sentence names; the lines under it have them all."""


def lead(made: Decision) -> str:
    """How to set the light, and what no setting meets, as `Set the bar to 33 % (20-45 % keeps all three zones right)`."""
    if not made.zones:
        return NO_TARGET
    said = [f"{_setting(made)}{_kept(made)}."]
    if made.unmet:
        said.append(_not_met(made))
    if made.unsure:
        names = "; ".join(f"{zone.name} ({_leaning(zone)})" for zone in made.unsure[:MOST_NAMED])
        said.append(f"Borderline: {names}{_more(made.unsure)}. A few meter readings would tell.")
    if made.lid_gain is not None and not any(zone.wants_times > 1 for zone in made.unmet):
        said.append("Keep the lid.")
    return " ".join(said)


def counted(number: int, noun: str = "zone", *, every: bool = True) -> str:
    """`the zone`, `both zones`, `all three zones`, or `three zones`."""
    word = _COUNTS[number] if number < len(_COUNTS) else str(number)
    if not every:
        return f"{word} {noun}" if number == 1 else f"{word} {noun}s"
    return f"the {noun}" if number == 1 else f"both {noun}s" if number == 2 else f"all {word} {noun}s"


def span_words(span: Span) -> str:
    """`20-45 %`."""
    return f"{_per_cent(span)} %"


def _per_cent(span: Span) -> str:
    low, high = round(100 * span.low), round(100 * span.high)
    return f"{low}-{high}" if low < high else f"{low}"


def _setting(made: Decision) -> str:
    off = [one for one in made.lights if one.level < 0.005]
    lit = [one for one in made.lights if one not in off]
    alike = len(lit) > 1 and len({_dial(one) for one in lit}) == 1
    if alike:
        told = [(counted(len(lit), "light") if not off else counted(len(lit), "light", every=False), lit[0])]
    else:
        told = [(f"the {one.name}", one) for one in lit]
    colour = ", which changes the colour of the light" if made.by is By.CHANNEL and not made.is_set else ""
    verb, to = ("Leave", "at") if made.is_set else ("Set", "to")
    range_each = made.by is not By.ALL or len(told) > 1
    said = _listed([f"{who} {to} {_dial(one)}{_own_range(one) if range_each else ''}" for who, one in told])
    switched = _listed([f"the {one.name}" for one in off])
    return f"{verb} {said}" + (f" and {'leave' if made.is_set else 'switch'} {switched} off" if off else "") + colour


def _dial(one: LightSetting) -> str:
    if one.step is not None:
        return f"step {one.step:.3g}"
    shares = {channel: percent(share) for channel, share in one.shares.items()}
    if len(set(shares.values())) == 1:
        return next(iter(shares.values()))
    return " ".join(f"{channel} {share}" for channel, share in shares.items())


def _own_range(one: LightSetting) -> str:
    return f" ({span_words(one.span)})" if len(set(one.shares.values())) == 1 else ""


def _kept(made: Decision) -> str:
    """What the range of the setting keeps."""
    right, total = len(made.right), len(made.zones)
    who = counted(total) if right == total else f"{right} of {total} zones"
    if right == 0:
        inside = sum(zone.met for zone in made.zones)
        return f": no zone is surely right, the light of {inside} of {total} lies in its band" if inside else ""
    lights = made.lights
    if made.by is By.ALL and len({_dial(one) for one in lights if one.level >= 0.005}) == 1:
        span = lights[0].span
        if round(100 * span.low) == round(100 * span.high):
            return f", which makes {who} right; so does no other setting"
        return f" ({span_words(span)} keeps {who} right)"
    return f": {who} {'is' if right == 1 else 'are'} right, and stay so in " + (
        "these ranges, all dimmed alike" if made.by is By.ALL else "each range while the other lights stay"
    )


def _not_met(made: Decision) -> str:
    unmet = made.unmet
    names = "; ".join(f"{zone.name} ({zone.verdict})" for zone in unmet[:MOST_NAMED])
    also = " as well" if made.right else ""
    if len(unmet) == 1:
        return f"No dimming suits {names}{also}: {nearest(unmet[0], made)[0]}."
    others = "these" if len(unmet) == len(made.zones) else "the others"
    first = f"Nearest for {unmet[0].name}: {nearest(unmet[0], made)[0]}"
    return f"No dimming suits {others}{also}: {names}{_more(unmet)}. {first}."


def _more(zones: Sequence[ZoneSetting]) -> str:
    return f" and {len(zones) - MOST_NAMED} more" if len(zones) > MOST_NAMED else ""


def _leaning(zone: ZoneSetting) -> str:
    middle = math.sqrt(max(zone.wanted.band.low, 1e-9) * zone.wanted.band.high)
    return f"right or {Verdict.TOO_DIM if zone.value < middle else Verdict.TOO_BRIGHT}"


def nearest(zone: ZoneSetting, made: Decision) -> list[str]:
    """What can be met for a zone that is not as set, the nearest first."""
    there = (made.elsewhere or {}).get(zone.name)
    ways = []
    if there is not None:
        light_there = f"where the {'bed gets' if there.on_bed else 'light is'} about {there.value:.0f}"
        ways.append(f"move it to the {there.place}, {light_there}")
    if zone.wants_times > 1:
        ways += _more_light(zone, made)
    elif not ways:
        too_dim = zone.verdict is Verdict.TOO_DIM
        ways.append("move it to a brighter place" if too_dim else "shade it, or choose plants that want more light")
    if zone.wants_times <= 1:
        ways.append("hang the light higher, which makes places more alike (how much needs a trace)")
    return ways


def _more_light(zone: ZoneSetting, made: Decision) -> list[str]:
    """Ways to more light than there is: lid and second light from what was counted, height as a direction only."""
    times, ways = zone.wants_times, ["hang the light lower (how much that gives needs a trace)"]
    if times <= SECOND_LIGHT:
        who = "a second light like it" if len(made.lights) == 1 else "as many lights again"
        ways.insert(
            0, f"hang {who} (it needs {math.ceil(100 * (times - 1) - 1e-9)} % more than there is at full power)"
        )
    else:
        ways.insert(0, f"choose lights that give {times:.2g} times as much")
    if made.lid_gain is not None:
        enough = "" if made.lid_gain >= times else ", which is not enough by itself"
        ways.append(f"open the lid for at least {percent(made.lid_gain - 1)} more{enough} (not where fish jump)")
        if not enough:
            ways.insert(0, ways.pop())
    return ways


def _listed(parts: Sequence[str]) -> str:
    return parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}" if parts else ""


def zone_lines(made: Decision, scene: Scene) -> list[str]:
    """A line for each zone that is not met: what it gets, what it wants, what would do."""
    return [_zone_line(zone, made, scene) for zone in made.unmet]


def _zone_line(zone: ZoneSetting, made: Decision, scene: Scene) -> str:
    band = zone.wanted.band
    gets = f"{zone.name}: {light(zone.value)} at this setting, its band is {band.low:g}-{band.high:g}"
    alone = "" if zone.right is None else f" (by itself it is right at {span_words(zone.right)})"
    suits = grows_there(zone.value, scene)
    grows = f" Its light suits {suits} plants." if suits else ""
    return f"{gets}{alone}: {'; or '.join(nearest(zone, made))}.{grows}"


def grows_there(value: float, scene: Scene) -> str:
    """Which needs a PPFD [umol/m2/s] suits: `undemanding or medium`; empty where none."""
    bands = {n: band_for(n, added_co2=scene.has_added_co2, settled=scene.is_settled) for n in Need}
    return " or ".join(need for need, band in bands.items() if band.low <= value <= band.high)


def right_at(zone: ZoneSetting) -> str:
    """At how many per cent of full power, all lights together, a zone is right: `21-37`, `89-100?`, `> 100`."""
    if zone.right is not None:
        return _per_cent(zone.right)
    if zone.inside is not None:
        return f"{_per_cent(zone.inside)}?"
    return "> 100" if zone.at_full < zone.wanted.band.low else "< 1"


def decision_data(made: Decision, scene: Scene | None = None) -> dict[str, Any]:
    """The decision as plain data and in words, with a line for each zone not met where the scene is known."""
    return {
        "sentence": lead(made),
        "not_met": [] if scene is None else zone_lines(made, scene),
        "by": str(made.by),
        "is_set": made.is_set,
        "lights": [
            {"name": one.name, "share_of_full_power": {c: round(v, 4) for c, v in one.shares.items()}, "step": one.step}
            for one in made.lights
        ],
        "zones": [
            {
                "name": zone.name,
                "right_at": right_at(zone),
                "right_at_share_of_full_power": zone.right and [zone.right.low, zone.right.high],
                "in_band_at_share_of_full_power": zone.inside and [zone.inside.low, zone.inside.high],
                "ppfd_as_decided_umol_m2_s": float(f"{zone.value:.6g}"),
                "verdict_as_decided": str(zone.verdict),
            }
            for zone in made.zones
        ],
    }
