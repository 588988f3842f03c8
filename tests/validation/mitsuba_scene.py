"""A lowered scene for Mitsuba 3 (PyPI), at one spectral bin: the same triangles, the same optical constants.

Light is measured by Mitsuba's irradiance meters: rectangles that lie in the substrate and carry its reflectance. Paths
start there and end on the LED faces, which are area emitters; so the comparison scenes have large faces and a Lambertian
lens. Lengths are given in centimetres, as Mitsuba keeps its rays off surfaces by about .1 mm at 1 m from the origin.

Everything is Mitsuba's own: absorption is its homogeneous medium with albedo 0 (sampled, so noisier than ours), paths its
`volpath`, polarisation carried with phase shifts. It has no diffuse transmitter by name, but `principledthin` with all
light in its diffuse transmission is one exactly; a leaf blends it with a diffuse reflector. The plain variant is taken,
not the vectorised one: it needs no compiler library, gives the same numbers everywhere and was as fast per path here.
"""

from __future__ import annotations

import tempfile
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from underlit.lowering.compiled import CompiledScene
from underlit.lowering.scene import Lowered
from underlit.results.estimate import Estimate
from underlit.transport.tables import BINS, SurfaceKind

VARIANT = "scalar_spectral_polarized"
CM = 100.0
EMITTER_GAP = 5e-5
"""An emitter lies this far in front of the fixture's face [m]."""
REPEATS = 32
"""A meter is read this many times with other random numbers, which gives its standard error."""
PIXELS = 8
"""Pixels on a side of a meter's film: parts of its area, so that each gets its share of the paths."""
LOW_NM, HIGH_NM = 400.0, 700.0
NO_FRESNEL = 1.00001
"""Index that leaves `principledthin` without a glossy part."""


@dataclass(frozen=True)
class Meter:
    """A level rectangle of the bed between two corners [m]; looks up, or down from the underside."""

    low: tuple[float, float]
    high: tuple[float, float]
    height: float
    up: bool = True

    @property
    def area(self) -> float:
        """Its area [m2]."""
        return (self.high[0] - self.low[0]) * (self.high[1] - self.low[1])


def one_bin(compiled: CompiledScene, spectral_bin: int) -> CompiledScene:
    """The plan with all photons in one bin."""
    spectra = np.broadcast_to((np.arange(BINS) >= spectral_bin).astype(float), compiled.tables.spectra.shape)
    return replace(compiled, tables=compiled.tables._replace(spectra=np.ascontiguousarray(spectra)))


def _even(value: float) -> dict[str, Any]:
    return {"type": "uniform", "value": float(value)}


def _media(compiled: CompiledScene, spectral_bin: int) -> dict[str, Any]:
    """Media that absorb or scatter, by name; lossless ones need none."""
    found: dict[str, Any] = {}
    for index, (row, optics) in enumerate(zip(compiled.tables.media, compiled.tables.optics, strict=True)):
        absorption, scattering = float(optics[1, spectral_bin]), float(optics[2, spectral_bin])
        if absorption + scattering > 0:
            found[f"medium {index}"] = {
                "type": "homogeneous",
                "sigma_t": _even((absorption + scattering) / CM),
                "albedo": _even(scattering / (absorption + scattering)),
                "phase": {"type": "hg", "g": float(row["g"])},
            }
    return found


def _bsdf(compiled: CompiledScene, surface: int, spectral_bin: int) -> dict[str, Any]:
    row = compiled.tables.surfaces[surface]
    front, back = (float(v) for v in compiled.tables.reflectance[surface, :, spectral_bin])
    if row["kind"] == SurfaceKind.INTERFACE:
        index = compiled.tables.optics[:, 0, spectral_bin]
        return {
            "type": "dielectric",
            "ext_ior": float(index[row["front"]]),
            "int_ior": float(index[row["back"]]),
            "specular_transmittance": _even(row["film"]),
        }
    if row["kind"] == SurfaceKind.LEAF:
        return _leaf(front, float(compiled.tables.transmittance[surface, 0, spectral_bin]))
    if row["specular"] > 0:
        raise ValueError("the converter knows no mirrors")
    return _two_sided(front, back)


def _two_sided(front: float, back: float) -> dict[str, Any]:
    sides = {side: {"type": "diffuse", "reflectance": _even(v)} for side, v in (("front", front), ("rear", back))}
    return {"type": "twosided", **sides}


def _leaf(reflectance: float, transmittance: float) -> dict[str, Any]:
    """A thin sheet that reflects and transmits diffusely, alike from both sides."""
    kept = reflectance + transmittance
    through = {
        "type": "principledthin", "base_color": _even(kept), "roughness": 1.0, "spec_trans": 0.0, "diff_trans": 2.0,
        "eta": NO_FRESNEL,
    }  # fmt: skip
    weight = transmittance / kept if kept > 0 else 0.0
    return {"type": "blendbsdf", "weight": weight, "back": _two_sided(kept, kept), "through": through}


def _sides(compiled: CompiledScene, surface: int, media: dict[str, Any]) -> dict[str, Any]:
    """Media on the two sides of an interface."""
    row = compiled.tables.surfaces[surface]
    if row["kind"] != SurfaceKind.INTERFACE:
        return {}
    names = (("exterior", f"medium {row['front']}"), ("interior", f"medium {row['back']}"))
    return {side: {"type": "ref", "id": name} for side, name in names if name in media}


def _write_ply(path: Path, vertices: np.ndarray, faces: np.ndarray) -> None:
    """Triangles as a binary PLY file, in centimetres."""
    head = (
        f"ply\nformat binary_little_endian 1.0\nelement vertex {len(vertices)}\nproperty float x\nproperty float y\n"
        f"property float z\nelement face {len(faces)}\nproperty list uchar int vertex_indices\nend_header\n"
    )
    rows = np.zeros(len(faces), np.dtype([("count", "u1"), ("corners", "<i4", (3,))]))
    rows["count"], rows["corners"] = 3, faces
    path.write_bytes(head.encode() + (vertices * CM).astype("<f4").tobytes() + rows.tobytes())


def _frame(u: np.ndarray, v: np.ndarray, w: np.ndarray, centre: np.ndarray) -> Any:
    """Transform of the square -1..1 to half axes u, v and normal w round a centre [m]."""
    import mitsuba as mi

    matrix = np.eye(4)
    matrix[:3, 0], matrix[:3, 1], matrix[:3, 2], matrix[:3, 3] = u * CM, v * CM, w, centre * CM
    return mi.ScalarTransform4f(matrix)


def _emitters(compiled: CompiledScene, face_bsdf: dict[str, Any]) -> dict[str, Any]:
    """The LED faces of all sources; radiance is what spreads the source's PPF evenly over them [umol/s/m2/sr]."""
    found: dict[str, Any] = {}
    for record, ppf, source in zip(compiled.sources, compiled.ppf, compiled.tables.sources, strict=True):
        if source["lens_kind"] != 0 or source["lens_exponent"] != 1.0:
            raise ValueError("the converter knows Lambertian LEDs only")
        leds = compiled.tables.leds[source["first_led"] : source["first_led"] + source["led_count"]]
        for k, led in enumerate(leds):
            area = 4 * led["half_u"] * led["half_v"]
            found[f"{record.name} {k}"] = {
                "type": "rectangle",
                "to_world": _frame(led["half_u"] * led["u"], led["half_v"] * led["v"], led["w"],
                                   led["position"] + EMITTER_GAP * led["w"]),
                "bsdf": face_bsdf,
                "emitter": {"type": "area", "radiance": _even(ppf / len(leds) / area / np.pi)},
            }  # fmt: skip
    return found


def _film() -> dict[str, Any]:
    band = {"type": "regular", "wavelength_min": LOW_NM, "wavelength_max": HIGH_NM, "values": "1, 1"}
    return {
        "type": "specfilm", "band": band, "width": PIXELS, "height": PIXELS, "rfilter": {"type": "box"},
        "component_format": "float32",
    }  # fmt: skip


class OtherEngine:
    """Mitsuba holding a scene at one bin, with meters in its bed."""

    def __init__(self, lowered: Lowered, spectral_bin: int, meters: list[Meter]) -> None:
        import mitsuba as mi

        mi.set_variant(VARIANT)
        compiled = lowered.compiled
        media = _media(compiled, spectral_bin)
        paths = {"type": "volpath", "max_depth": -1, "rr_depth": 16, "block_size": PIXELS // 2}
        tables: dict[str, Any] = {"type": "scene", "integrator": paths, **media}
        for k in range(len(compiled.tables.surfaces)):
            tables[f"surface {k}"] = _bsdf(compiled, k, spectral_bin)
        by_name = {mesh.name: mesh for mesh in compiled.meshes}
        fixture = by_name[compiled.sources[0].fixture].surface
        tables |= _emitters(compiled, {"type": "ref", "id": f"surface {fixture}"})
        water = next(compiled.tables.surfaces[m.surface]["back"] for m in compiled.meshes if m.name == "water surface")
        for k, meter in enumerate(meters):
            tables[f"meter {k}"] = self._meter(meter, by_name["substrate"].surface, f"medium {water}", media)
        with tempfile.TemporaryDirectory() as folder:
            for k, mesh in enumerate(compiled.meshes):
                file = Path(folder) / f"{k}.ply"
                _write_ply(file, mesh.vertices, mesh.faces)
                tables[f"mesh {k}"] = {
                    "type": "ply", "filename": str(file), "face_normals": True,
                    "bsdf": {"type": "ref", "id": f"surface {mesh.surface}"}, **_sides(compiled, mesh.surface, media),
                }  # fmt: skip
            # the optimiser would make one of meters that are alike
            self._scene = mi.load_dict(tables, optimize=False)

    def _meter(self, meter: Meter, surface: int, water: str, media: dict[str, Any]) -> dict[str, Any]:
        x, y = ((high - low) / 2 for low, high in zip(meter.low, meter.high, strict=True))
        centre = np.array([(meter.low[0] + meter.high[0]) / 2, (meter.low[1] + meter.high[1]) / 2, meter.height])
        way = 1.0 if meter.up else -1.0
        inside = {"medium": {"type": "ref", "id": water}} if water in media else {}
        return {
            "type": "rectangle",
            "to_world": _frame(np.array([x, 0, 0]), np.array([0, way * y, 0]), np.array([0, 0, way]), centre),
            "bsdf": {"type": "ref", "id": f"surface {surface}"},
            "sensor": {"type": "irradiancemeter", "film": _film(), "sampler": {"type": "independent"}, **inside},
        }

    def ppfd(self, meter: int, paths: int, seed: int) -> Estimate:
        """Mean PPFD on a meter [umol/m2/s] from about so many paths."""
        import mitsuba as mi

        each = max(1, paths // REPEATS // PIXELS**2)
        renders = [mi.render(self._scene, sensor=meter, spp=each, seed=seed * REPEATS + k) for k in range(REPEATS)]
        # a film over 300 nm adds up what the meter sees per nm
        values = np.array([np.mean(np.array(image, dtype=np.float64)) for image in renders]) / (HIGH_NM - LOW_NM)
        return Estimate(float(values.mean()), float(values.std(ddof=1) / np.sqrt(REPEATS)), REPEATS - 1.0)
