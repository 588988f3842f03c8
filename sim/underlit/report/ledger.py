"""Where the light goes, in few lines that add to 100 %."""

from __future__ import annotations

from underlit.lowering.scene import Lowered
from underlit.lowering.world import Role
from underlit.results.result import Result

HIDDEN = {"emitted", "roulette_loss", "roulette_gain"}
WORDS = {
    "lost": "lost (must be nothing)",
    "inside_solid": "inside wood or stone",
    "water": "absorbed by the water",
    "tank glass": "absorbed by the tank's glass",
    "lid": "absorbed by the lid's glass",
    "dirt on the lid": "dirt and condensation on the lid",
    "backings": "backgrounds and what is under the tank",
    "fixtures": "back onto the fixtures",
    "past the tank": "past the tank, into the room",
}


def light_ledger(lowered: Lowered | None, result: Result) -> list[tuple[str, float]]:
    """(words, share of the emitted light) for every line that holds any, largest first; plants by name."""
    plants = {m.name for m in result.plan.meshes if m.role is Role.PLANTS} if lowered else set()
    lines = []
    for name, share in result.ledger().items():
        if name in HIDDEN or (share == 0.0 and name != "lost"):
            continue
        words = WORDS.get(name, name)
        lines.append((f"plants: {name}" if name in plants else words, share))
    lost = [line for line in lines if line[0] == WORDS["lost"]]
    return sorted((line for line in lines if line not in lost), key=lambda line: -line[1]) + lost


def as_percentages(lines: list[tuple[str, float]], digits: int = 1) -> list[tuple[str, float]]:
    """Shares as percentages rounded so that they still add to exactly 100 (largest remainder)."""
    unit = 10**digits
    exact = [share * 100 * unit for _, share in lines]
    floors = [int(e) for e in exact]
    missing = 100 * unit - sum(floors)
    order = sorted(range(len(lines)), key=lambda i: floors[i] - exact[i])
    for i in order[: max(0, missing)]:
        floors[i] += 1
    return [(name, n / unit) for (name, _), n in zip(lines, floors, strict=True)]
