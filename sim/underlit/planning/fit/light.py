"""Light on meter heads as a function of the fitted parameters, from recorded paths weighed anew.

A path that reached a head keeps its course when the output, the lens, a film, a reflectance or the water's absorption
changes; its weight changes by exp(sum over parameters of feature * (eta' - eta)) (`docs/photon-walk.md`, Records of
paths). Features: minus its length in water times the tint's spectral shape; how often it crossed a film or was given
back; the logarithm of the cosine at the lens, whose flux stays: (m' + 1) / (m + 1) cos^(m' - m).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from underlit.backends.paths import HeadPaths, record_paths
from underlit.lowering.compiled import CompiledScene
from underlit.lowering.records import Source
from underlit.lowering.scene import Lowered, lower
from underlit.planning.fit.parameters import Kind, Parameter, tint_shape, touched, with_values
from underlit.planning.fit.readings import OPEN_RIM_M, LidState, Setting
from underlit.scene.keys import alternatives_of
from underlit.scene.lights.fixture import Fixture
from underlit.scene.model import Scene
from underlit.scene.targets import Spot
from underlit.transport.tables import Tables
from underlit.units import Length

BATCH_BITS = 15
PHOTONS = 1 << 21
"""Of one setting of the tank: heads of `HEAD_RADIUS_M` on the substrate are then counted to about 1 %."""
FEWEST_BATCHES = 16
HEAD_RADIUS_M = 0.02
"""Heads are counted on discs this large, a little over a meter's: fewer photons are needed. Against discs of 1.5 cm,
those of 3 cm read the same within 2.5 % at 14 open spots of the planting plan, and 22 % more at one between stems."""
AT_ONCE = 400
"""Sets of parameters whose light is worked out together: a matter of memory."""
SMALLEST_COSINE = 1e-6

Place = tuple[float, float, float]


@dataclass(frozen=True)
class Tracing:
    """How each setting of the tank is traced: photons, seed, worker threads (None: all processors)."""

    photons: int = PHOTONS
    seed: int = 1
    threads: int | None = None


@dataclass(frozen=True)
class _Recorded:
    """Paths of one source: head, batch (n,) int32; share (n,) of the source's photons; features (n, parameters)
    float32.
    """

    head: np.ndarray
    batch: np.ndarray
    share: np.ndarray
    features: np.ndarray
    batches: int


@dataclass(frozen=True)
class HeadLight:
    """PPFD of each head from each source at full power, alike in first two axes (sources, heads) [umol/m2/s].

    value; slope: d value / d u, (sources, heads, parameters); variance: of the simulation; evenness: effective number of the
    paths weighed anew over that as recorded.
    """

    value: np.ndarray
    slope: np.ndarray
    variance: np.ndarray
    evenness: np.ndarray


class Recording:
    """Recorded paths to the heads of one setting of a tank, traced with the parameters at `u`."""

    def __init__(
        self, scene: Scene, setting: Setting, heads: Sequence[Place], parameters: tuple[Parameter, ...], u: np.ndarray,
        tracing: Tracing,
    ) -> None:  # fmt: skip
        self.scene = scene
        self.setting, self.heads, self.parameters, self.u = setting, tuple(heads), parameters, np.array(u, np.float64)
        self.tracing = tracing
        compiled = lowered_for(scene, setting, heads).compiled
        self.sources = compiled.sources
        self._ppf = np.array(compiled.ppf)
        self._areas = np.array([head.area for head in compiled.heads])
        self._paths = self._record(compiled)

    def _record(self, compiled: CompiledScene) -> list[_Recorded]:
        tables = heads_only(with_values(compiled, self.parameters, self.u))
        share = self._ppf / self._ppf.sum()
        batches = np.maximum(FEWEST_BATCHES, np.rint(self.tracing.photons / (1 << BATCH_BITS) * share)).astype(int)
        found = []
        for source, count in enumerate(batches):
            seed, threads = self.tracing.seed, self.tracing.threads
            paths = record_paths(
                tables, source, batches=int(count), batch_bits=BATCH_BITS, seed=seed, threads=threads
            )  # fmt: skip
            found.append(
                _Recorded(paths.head, paths.batch, paths.share, self._features(compiled, source, paths), paths.batches)
            )
        return found

    def _features(self, compiled: CompiledScene, source: int, paths: HeadPaths) -> np.ndarray:
        columns = np.zeros((len(paths.head), len(self.parameters)), np.float32)
        for k, parameter in enumerate(self.parameters):
            rows = touched(parameter, compiled)
            if rows.surfaces:
                columns[:, k] = paths.passes[:, list(rows.surfaces)].sum(axis=1)
            elif rows.medium is not None:
                columns[:, k] = -paths.lengths[:, rows.medium] * tint_shape(parameter.slope_per_nm)[paths.bin]
            elif parameter.kind is Kind.BEAM and source in parameter.sources:
                columns[:, k] = np.log(np.maximum(paths.cosine, SMALLEST_COSINE))
        return columns

    def light(self, u: np.ndarray) -> HeadLight:
        """PPFD on every head with the parameters at u (output apart, which only scales a source)."""
        shape = (len(self._paths), len(self.heads))
        value, variance, evenness = np.zeros(shape), np.zeros(shape), np.ones(shape)
        slope = np.zeros((*shape, len(self.parameters)))
        for i, paths in enumerate(self._paths):
            weight, gradient, base = self._weights(i, u)
            scale = self._ppf[i] / (paths.batches * self._areas)
            value[i] = _sums(paths.head, weight, shape[1]) * scale
            for k in range(len(self.parameters)):
                slope[i, :, k] = _sums(paths.head, weight * gradient[:, k], shape[1]) * scale
            by_batch = _sums(paths.batch * shape[1] + paths.head, weight, paths.batches * shape[1])
            spread = by_batch.reshape(paths.batches, shape[1]).var(axis=0, ddof=1) * paths.batches
            variance[i] = spread * scale**2
            evenness[i] = _effective(paths.head, weight, shape[1]) / _effective(paths.head, base, shape[1])
        return HeadLight(value, slope, variance, evenness)

    def values(self, heads: Sequence[int], u: np.ndarray) -> np.ndarray:
        """PPFD on some heads at full power for many u (draws, parameters), output apart: (draws, sources, heads)."""
        found = np.zeros((len(u), len(self._paths), len(heads)))
        etas = np.array([[p.eta_of(float(v))[0] for p, v in zip(self.parameters, row, strict=True)] for row in u])
        recorded = np.array([p.eta_of(float(v))[0] for p, v in zip(self.parameters, self.u, strict=True)])
        for i, paths in enumerate(self._paths):
            flux = np.zeros(len(u))
            for k, parameter in enumerate(self.parameters):
                if parameter.kind is Kind.BEAM and i in parameter.sources:
                    flux += np.log((etas[:, k] + 1) / (recorded[k] + 1))
            scale = self._ppf[i] / (paths.batches * self._areas)
            for j, head in enumerate(heads):
                own = paths.head == head
                logarithm = paths.features[own].astype(np.float64) @ (etas - recorded).T + flux
                found[:, i, j] = paths.share[own] @ np.exp(logarithm) * scale[head]
        return found

    def _weights(self, source: int, u: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Weights of a source's paths at u, (n,), the slope of their logarithm by u, (n, parameters), weights as
        recorded.
        """
        paths = self._paths[source]
        logarithm = np.zeros(len(paths.share))
        gradient = np.zeros((len(paths.share), len(self.parameters)))
        for k, parameter in enumerate(self.parameters):
            if parameter.kind is Kind.OUTPUT:
                continue
            (eta, slope), (recorded, _) = parameter.eta_of(float(u[k])), parameter.eta_of(float(self.u[k]))
            logarithm += paths.features[:, k] * (eta - recorded)
            gradient[:, k] = paths.features[:, k] * slope
            if parameter.kind is Kind.BEAM and source in parameter.sources:
                logarithm += math.log((eta + 1) / (recorded + 1))
                gradient[:, k] += slope / (eta + 1)
        return paths.share * np.exp(logarithm), gradient, paths.share


def _sums(index: np.ndarray, weight: np.ndarray, length: int) -> np.ndarray:
    return np.bincount(index, weight, minlength=length).astype(np.float64)


def _effective(head: np.ndarray, weight: np.ndarray, heads: int) -> np.ndarray:
    """Effective number of paths to each head: (sum of weights)^2 over the sum of their squares; 1 where there is
    none.
    """
    squares = _sums(head, weight**2, heads)
    return np.asarray(np.divide(_sums(head, weight, heads) ** 2, squares, out=np.ones(heads), where=squares > 0))


# -- the tank as it was set up ------------------------------------------------------------------------------------
def scene_for(scene: Scene, setting: Setting) -> Scene:
    """The scene with the lid and the height of its fixtures as they were for a reading."""
    own, *others = [each.model_copy(update={"zones": (), "spots": ()}) for each in scene.tank_scenes]
    tanks = [own.model_copy(update={"lid": None}) if setting.lid is LidState.OFF else own, *others]
    lit_by = scene.light_number
    lights = tanks[lit_by].fixtures
    if setting.above_rim is not None:
        # over the rim of the tank that was read; the light may belong to another tank of the rack
        lights = tuple(_hung(fixture, setting.above_rim - scene.light_rim_m) for fixture in lights)
    if setting.under:
        lights = tuple(_hung(f, OPEN_RIM_M) if f.name == setting.under else f for f in lights)
        tanks = [tank.model_copy(update={"hood": None}) for tank in tanks]
    tanks[lit_by] = tanks[lit_by].model_copy(update={"fixtures": lights})
    rack = tuple(tank.with_scene(each) for tank, each in zip(scene.rack, tanks[1:], strict=True))
    return tanks[0].model_copy(update={"rack": rack})


def _hung(fixture: Fixture, above_rim: float) -> Fixture:
    return fixture.model_copy(update={"above_rim": above_rim} | dict.fromkeys(alternatives_of(fixture, "above_rim")))


def lowered_for(scene: Scene, setting: Setting, heads: Sequence[Place]) -> Lowered:
    """The tank of a setting, lowered, with level meter heads at the places [m]; a head near a pane is smaller, to stay
    in the tank.
    """
    spots = tuple(
        Spot(name=f"head {i}", at=(Length(x), Length(y)), height=Length(z), radius=Length(_radius(scene, x, y)))
        for i, (x, y, z) in enumerate(heads)
    )
    return lower(scene_for(scene, setting).model_copy(update={"spots": spots}))


SMALLEST_RADIUS_M = 0.01


def _radius(scene: Scene, x: float, y: float) -> float:
    from shapely import Point

    to_pane = float(scene.tank.inside_outline.polygon.exterior.distance(Point(x, y)))
    return max(SMALLEST_RADIUS_M, min(HEAD_RADIUS_M, to_pane))


def heads_only(tables: Tables) -> Tables:
    """The tables without planes, map and zones: counting them would only cost time."""
    return tables._replace(**{name: getattr(tables, name)[:0].copy() for name in ("maps", "planes", "zones")})


@dataclass(frozen=True)
class Shot:
    """A reading as the model sees it: which recording and head, and how far each source was dimmed, (sources,)."""

    setting: Setting
    head: int
    dimming: np.ndarray


def dimming_of(scene: Scene, sources: Sequence[Source], share: float | None, under: str = "") -> np.ndarray:
    """Level of each source, (sources,): the tank's light at `share` of full light, channels as set, or all as the scene
    says. under: the only fixture that is on, for a reading in the open.

    Lights of a rack that belong to other tanks (see `Scene.light_number`) stay as their scenes say.
    """
    fixtures = {(k, fixture.name): fixture for k, each in enumerate(scene.tank_scenes) for fixture in each.fixtures}
    levels = []
    for source in sources:
        fixture = fixtures[source.tank, source.fixture]
        channel = next(c for c in fixture.channels if c.name == source.channel)
        level = fixture.level_of(channel)
        is_its_light = source.tank == scene.light_number
        if under and not (is_its_light and source.fixture == under):
            level = 0.0
        levels.append(level if share is None or not is_its_light else share * level / fixture.level)
    return np.array(levels)


class Model:
    """Recorded paths of several settings of a tank, and the light of readings from them."""

    def __init__(self, scene: Scene, parameters: tuple[Parameter, ...], recordings: dict[Setting, Recording]) -> None:
        self.scene, self.parameters, self.recordings = scene, parameters, recordings
        self._cached: tuple[bytes, dict[Setting, HeadLight]] = (b"", {})

    def lights(self, u: np.ndarray) -> dict[Setting, HeadLight]:
        """Light of every recording at u."""
        key = np.asarray(u, np.float64).tobytes()
        if self._cached[0] != key:
            self._cached = (key, {setting: recording.light(u) for setting, recording in self.recordings.items()})
        return self._cached[1]

    def predict(self, shots: Sequence[Shot], u: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """PPFD of each shot (n,), its logarithm's slope by u (n, parameters), and its relative simulation error (n,)."""
        lights = self.lights(u)
        value, error = np.zeros(len(shots)), np.zeros(len(shots))
        slope = np.zeros((len(shots), len(self.parameters)))
        for n, shot in enumerate(shots):
            light = lights[shot.setting]
            factor = shot.dimming * self._output(u, len(shot.dimming))
            by_source = light.value[:, shot.head] * factor
            value[n] = by_source.sum()
            slope[n] = factor @ light.slope[:, shot.head]
            error[n] = math.sqrt(float((light.variance[:, shot.head] * factor**2).sum()))
            for k, parameter in enumerate(self.parameters):
                if parameter.kind is Kind.OUTPUT:
                    slope[n, k] = by_source[list(parameter.sources)].sum()
        lit = value > 0
        safe = np.where(lit, value, 1.0)
        return value, slope / safe[:, None], np.where(lit, error / safe, np.inf)

    def predict_many(self, shots: Sequence[Shot], u: np.ndarray) -> np.ndarray:
        """PPFD of each shot for many u (draws, parameters): (draws, n)."""
        parts = np.array_split(u, max(1, len(u) // AT_ONCE))
        return np.concatenate([self._predict_part(shots, part) for part in parts])

    def _predict_part(self, shots: Sequence[Shot], u: np.ndarray) -> np.ndarray:
        value = np.zeros((len(u), len(shots)))
        for setting in {shot.setting for shot in shots}:
            own = [n for n, shot in enumerate(shots) if shot.setting == setting]
            by_source = self.recordings[setting].values([shots[n].head for n in own], u)
            output = np.array([self._output(row, by_source.shape[1]) for row in u])
            dimming = np.array([shots[n].dimming for n in own])
            value[:, own] = np.einsum("dsn,ds,ns->dn", by_source, output, dimming)
        return value

    def evenness(self, shots: Sequence[Shot], u: np.ndarray) -> float:
        """The lowest evenness of weights among the shots, over sources that matter."""
        lights = self.lights(u)
        worst = 1.0
        for shot in shots:
            light = lights[shot.setting]
            by_source = light.value[:, shot.head] * shot.dimming
            matters = by_source > 0.1 * by_source.sum()
            worst = min(worst, float(light.evenness[matters, shot.head].min(initial=1.0)))
        return worst

    def traced_at(self, u: np.ndarray) -> Model:
        """The same settings and heads traced anew with the parameters at u."""
        anew = {
            setting: Recording(
                self.scene, setting, r.heads, self.parameters, u, replace(r.tracing, seed=r.tracing.seed + 1)
            )
            for setting, r in self.recordings.items()
        }
        return Model(self.scene, self.parameters, anew)

    def _output(self, u: np.ndarray, sources: int) -> np.ndarray:
        factor = np.ones(sources)
        for k, parameter in enumerate(self.parameters):
            if parameter.kind is Kind.OUTPUT:
                factor[list(parameter.sources)] = math.exp(float(u[k]))
        return factor
