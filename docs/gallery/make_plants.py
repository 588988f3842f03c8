"""Pictures of every form of plant and hardscape, each in a small tank, drawn by the tool from a trace of its light.

    python docs/gallery/make_plants.py [NAME ...]

Everything in them is an invented example. Colours are the light on each surface, as in every picture of the tool.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import underlit
from underlit.report.files import overlay
from underlit.viz.palette import colour_map
from underlit.viz.tank3d.stills import write_still

HERE = Path(__file__).resolve().parent
PHOTONS = 1 << 21
SIZE = (860, 640)
LARGEST_BYTES = 80_000
SMALL_PRINT = 50
"""Height of the line under a picture [pixels]."""
BED = (("1 cm", "1 cm"), ("23 cm", "15 cm"))
MIDDLE = (("4 cm", "3 cm"), ("20 cm", "13 cm"))
BACK = (("3 cm", "8 cm"), ("21 cm", "15 cm"))
ROOT = {"name": "root", "shape": "branching", "size": ["19 cm", "9 cm", "10 cm"], "at": ["12 cm", "8 cm"], "seed": 5}

PLANTS: dict[str, tuple[str, dict[str, Any]]] = {
    "carpet-round": (
        "Lawn carpet of small round leaves",
        {"kind": "carpet", "form": "round", "height": "2 cm", "rectangle": BED},
    ),
    "carpet-grass": ("Lawn carpet of grass", {"kind": "carpet", "form": "grass", "height": "5 cm", "rectangle": BED}),
    "carpet-clover": (
        "Lawn carpet of clover-like leaves",
        {"kind": "carpet", "form": "clover", "height": "3 cm", "rectangle": BED},
    ),
    "rosettes-low": (
        "Low rosettes",
        {"kind": "rosettes", "form": "low", "height": "5 cm", "spacing": "5 cm", "rectangle": BED},
    ),
    "rosettes-broad": (
        "Rosettes of broad leaves on stalks",
        {"kind": "rosettes", "form": "broad", "height": "11 cm", "spacing": "8 cm", "rectangle": BED},
    ),
    "rosettes-ribbon": (
        "Tall ribbon leaves",
        {
            "kind": "rosettes",
            "form": "ribbon",
            "height": "13.5 cm",
            "leaf_length": "19 cm",
            "spacing": "4.5 cm",
            "rectangle": BACK,
        },
    ),
    "stems-opposite": (
        "Stem bunch, leaves in pairs",
        {"kind": "stems", "form": "opposite", "height": "14 cm", "spacing": "3 cm", "rectangle": MIDDLE},
    ),
    "stems-whorl": (
        "Stem bunch, leaves in whorls",
        {"kind": "stems", "form": "whorl", "height": "14 cm", "spacing": "3 cm", "rectangle": MIDDLE},
    ),
    "stems-fine": (
        "Stem bunch of needle-fine leaves",
        {"kind": "stems", "form": "fine", "height": "14 cm", "spacing": "3 cm", "rectangle": MIDDLE},
    ),
    "stems-floating": (
        "Stems drifting at the surface",
        {"kind": "stems", "form": "whorl", "height": "12 cm", "floats": True, "leaf_area": 0.6, "rectangle": BED},
    ),
    "moss-on-wood": ("Moss on wood", {"kind": "epiphytes", "form": "moss", "on": "root", "density": "dense"}),
    "epiphytes": (
        "Epiphytes with thick leaves on wood",
        {"kind": "epiphytes", "form": "thick leaves", "on": "root", "height": "3.5 cm", "density": "dense"},
    ),
    "floating-pads": (
        "Floating rosettes, half of the surface covered",
        {"kind": "floating", "form": "pads", "cover": 0.5, "rectangle": BED},
    ),
    "duckweed": (
        "Duckweed-like cover, a third of the surface",
        {"kind": "floating", "form": "duckweed", "cover": 0.33, "rectangle": BED},
    ),
}
HARDSCAPE: dict[str, tuple[str, dict[str, Any]]] = {
    "driftwood": ("Driftwood", {"wood": [{**ROOT, "size": ["20 cm", "10 cm", "13 cm"], "seed": 8}]}),
    "driftwood-low": ("Driftwood, low and wide", {"wood": [{**ROOT, "size": ["21 cm", "11 cm", "8 cm"], "seed": 2}]}),
    "stones-rounded": (
        "Water-worn stones",
        {
            "stone": [
                {
                    "name": "large",
                    "shape": "rounded",
                    "size": ["9 cm", "7 cm", "6 cm"],
                    "at": ["9 cm", "9 cm"],
                    "seed": 3,
                },
                {
                    "name": "middle",
                    "shape": "rounded",
                    "size": ["6 cm", "5 cm", "4 cm"],
                    "at": ["16 cm", "7 cm"],
                    "seed": 5,
                    "turn": "40 deg",
                },
                {
                    "name": "small",
                    "shape": "rounded",
                    "size": ["3.5 cm", "3 cm", "2.5 cm"],
                    "at": ["13 cm", "3.5 cm"],
                    "seed": 9,
                },
            ]
        },
    ),
    "stones-jagged": (
        "Broken, layered stones",
        {
            "stone": [
                {
                    "name": "large",
                    "shape": "jagged",
                    "size": ["10 cm", "7 cm", "11 cm"],
                    "at": ["9 cm", "9 cm"],
                    "seed": 4,
                },
                {
                    "name": "middle",
                    "shape": "jagged",
                    "size": ["7 cm", "5 cm", "6 cm"],
                    "at": ["17 cm", "8 cm"],
                    "seed": 6,
                    "turn": "30 deg",
                },
                {
                    "name": "small",
                    "shape": "jagged",
                    "size": ["4 cm", "3 cm", "3 cm"],
                    "at": ["13 cm", "3.5 cm"],
                    "seed": 7,
                },
            ]
        },
    ),
    "terraces": (
        "Terraces with retaining edges, planted",
        {
            "substrate": {
                "front_depth": "2 cm",
                "back_depth": "3 cm",
                "material": "dark soil",
                "terrace": [
                    {
                        "outline": [
                            ["7 cm", "16 cm"],
                            ["7 cm", "10 cm"],
                            ["13 cm", "6 cm"],
                            ["24 cm", "6 cm"],
                            ["24 cm", "16 cm"],
                        ],
                        "height": "5 cm",
                    },
                    {
                        "outline": [["13 cm", "16 cm"], ["15 cm", "11 cm"], ["24 cm", "10 cm"], ["24 cm", "16 cm"]],
                        "height": "8 cm",
                    },
                ],
            },
            "stone": [
                {
                    "name": "rock",
                    "shape": "jagged",
                    "size": ["5 cm", "4 cm", "5 cm"],
                    "at": ["10 cm", "13 cm"],
                    "seed": 3,
                }
            ],
            "plants": [
                {
                    "name": "lawn",
                    "kind": "carpet",
                    "height": "1.5 cm",
                    "rectangle": [["1 cm", "1 cm"], ["23 cm", "5 cm"]],
                },
                {
                    "name": "stems",
                    "kind": "stems",
                    "form": "whorl",
                    "height": "7 cm",
                    "spacing": "2.2 cm",
                    "rectangle": [["17 cm", "12 cm"], ["23 cm", "15.5 cm"]],
                },
            ],
        },
    ),
}


def tank(title: str) -> dict[str, Any]:
    """A small tank with even light."""
    return {
        "title": title,
        "tank": {"inside_size": ["24 cm", "16 cm", "20 cm"], "glass_thickness": "4 mm"},
        "water": {"below_rim": "1.5 cm", "tannin": "none"},
        "substrate": {"front_depth": "2 cm", "back_depth": "3 cm", "material": "gravel"},
        "fixture": [
            {
                "name": "panel",
                "size": ["20 cm", "6 cm", "1 cm"],
                "leds": {"rows": 2, "columns": 10},
                "output": {"ppf": "6 umol/s"},
                "above_rim": "5 cm",
            }
        ],
    }


def scene_of(name: str) -> underlit.Scene:
    """The scene of a picture."""
    if name in HARDSCAPE:
        title, parts = HARDSCAPE[name]
        return underlit.scene_from_dict({**tank(title), **parts})
    title, plants = PLANTS[name]
    wood = {"wood": [ROOT]} if "on" in plants else {}
    return underlit.scene_from_dict({**tank(title), **wood, "plants": [{"name": "plants", "seed": 4, **plants}]})


def make(name: str) -> Path:
    """Trace and draw one; the file's path."""
    traced = underlit.trace(scene_of(name), photons=PHOTONS, seed=1)
    path = HERE / ("hardscape" if name in HARDSCAPE else "plants") / f"{name}.png"
    missing = write_still(traced.result, overlay(traced.lowered), path, SIZE)
    if missing is not None:
        raise SystemExit(missing)
    shrink(path)
    return path


def shrink(path: Path) -> None:
    """Smaller, without the line of small print (which is cut at this size), in 256 colours.

    A colour is a value, so those of the scale come first; then the commonest, which are those of tank and paper, and the rest
    by median cut.
    """
    import numpy as np
    from PIL import Image

    image = Image.open(path).convert("RGB")
    image = image.crop((0, 0, image.width, image.height - SMALL_PRINT))
    image = image.resize((image.width * 3 // 4, image.height * 3 // 4), Image.Resampling.LANCZOS)
    found, count = np.unique(np.asarray(image).reshape(-1, 3), axis=0, return_counts=True)
    cut = image.quantize(64, dither=Image.Dither.NONE).getpalette() or []
    scale = colour_map()(np.linspace(0, 1, 96), bytes=True)[:, :3]
    colours = [*scale.ravel().tolist(), *found[np.argsort(-count, kind="stable")][:96].ravel().tolist(), *cut[: 3 * 64]]
    palette = Image.new("P", (1, 1))
    palette.putpalette(colours)
    image.quantize(palette=palette, dither=Image.Dither.NONE).save(path, optimize=True)
    if path.stat().st_size > LARGEST_BYTES:
        raise SystemExit(f"{path}: larger than {LARGEST_BYTES} bytes")


if __name__ == "__main__":
    for chosen in sys.argv[1:] or [*PLANTS, *HARDSCAPE]:
        print(make(chosen))
