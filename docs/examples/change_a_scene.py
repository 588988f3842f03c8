"""A shipped scene with its light hung higher, and what each zone then gets; then the same light dimmed, without a new trace."""

from pathlib import Path

import underlit

SCENES = Path(__file__).resolve().parents[2] / "scenes"

scene = underlit.scene_from_dict(
    {"base": "bare-box.toml", "title": "the bare box, its light higher", "fixture": [
        {
            "name": "clip light",
            "size": ["20 cm", "6 cm", "1 cm"],
            "leds": {"rows": 2, "columns": 8, "face": "3 mm"},
            "output": {"ppf": "2.6 umol/s"},
            "above_rim": "12 cm",
            "channel": [{"name": "white", "spectrum": "LED-B3"}],
        }
    ]},
    folder=SCENES,
)  # fmt: skip
traced = underlit.trace(scene, precision=0.02, seed=1)
assert traced.result.ledger_gap() == 0

for zone in underlit.zone_reports(traced.lowered, traced.result):
    found, real = zone.ppfd, f"{zone.tank_low:.0f}-{zone.tank_high:.0f} in real tanks"
    print(f"{zone.name}: {found.value:.1f} ± {found.half_width:.1f} simulation, {real}: {zone.verdict}")

bed = traced.result.bed()  # PPFD on the substrate: bed.value and bed.standard_error, (ny, nx) float64 [umol/m2/s]
print(f"brightest square centimetre of the bed: {bed.value.max():.0f} umol/m2/s")

source = traced.result.compiled.sources[0].name
half = traced.result.dimmed({source: 0.5})  # light adds up, so dimming is arithmetic on what was counted
print(f"at half power the middle reads {half.heads()['centre'].value:.1f} umol/m2/s")
