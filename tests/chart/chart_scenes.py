"""Small scenes for charts: two tanks, two lights, quick to trace. A stone of one bears the name of the other's light."""

from __future__ import annotations

from pathlib import Path

SMALL = """\
title = "a small box"
added_co2 = true
[tank]
inside_size = ["30 cm", "20 cm", "20 cm"]
glass_thickness = "4 mm"
[water]
above_bottom = "17 cm"
tannin = "none"
[substrate]
material = "gravel"
depth = "2 cm"
[[fixture]]
name = "clip"
size = ["12 cm", "4 cm", "1 cm"]
leds = { rows = 1, columns = 4 }
output = { ppf = "6 umol/s", watts = "3 W" }
above_rim = "5 cm"
dimming = 0.5
[[fixture.channel]]
name = "white"
spectrum = "LED-B3"
share = 2.0
[[fixture.channel]]
name = "red"
spectrum = { peak = "660 nm", width = "20 nm" }
dimming = 0.5
[[zone]]
name = "bed"
rectangle = [["5 cm", "5 cm"], ["25 cm", "15 cm"]]
band = [15, 35]
"""
TALL = """\
title = "a tall box"
added_co2 = true
[tank]
inside_size = ["40 cm", "20 cm", "40 cm"]
glass_thickness = "6 mm"
[tank.back]
behind = "paint"
colour = "black"
[substrate]
material = "dark soil"
depth = "4 cm"
[[stone]]
name = "clip"
shape = "rounded"
size = ["6 cm", "5 cm", "5 cm"]
at = ["12 cm", "10 cm"]
[[fixture]]
name = "bar"
size = ["36 cm", "5 cm", "1 cm"]
leds = { rows = 2, columns = 10 }
lens = { beam_angle = "90 deg" }
output = { ppf = "20 umol/s" }
above_rim = "4 cm"
position = ["20 cm", "5 cm"]
"""
OPEN_LID = """\
base = "tall.toml"
title = "the tall box under a lid on which a low light cannot hang"
[lid]
above_rim = "3 cm"
"""


def write_scenes(folder: Path) -> list[str]:
    """small.toml and tall.toml in a folder; returns their paths."""
    paths = []
    for name, text in (("small", SMALL), ("tall", TALL), ("lid", OPEN_LID)):
        path = folder / f"{name}.toml"
        path.write_text(text, encoding="utf-8")
        paths.append(str(path))
    return paths[:2]
