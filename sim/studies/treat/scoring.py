"""What any set of panels leaves of the early reflections that panels can reach, fast enough to try thousands.

All mirrored paths of up to two mirrors from every driver to the ear and the corners of the head box are found once.
A panel changes a path only where it meets the panel's plane: R = R_w + sum of (R_p - R_w) F (see
`sim.propagation.surfaces.factors`).  So for every panel the change at every incidence is worked out once, and a set of
panels is a product over the incidences of each path.  What stands at a place and what it is made of are kept apart:
another build-up there costs next to nothing.

Score: what these arrivals add to the one measure of better (`sim.responses.measure`): decibels above the target of each
inside its window, added up; mean of the octaves, loudspeakers and head positions, times the scene's weight.  A plan is
chosen by it, with `BELOW_TARGET` of the level of all, so that of two plans that meet the target the quieter one is
better.  What a plan then says is the measure itself, of traces with the panels.

The coupling of a panel is taken as if its middle lay at the reflection point, once for each size of panel.

Neglected: paths of three mirrors and ways round edges (the plan is traced again with them), legs that pass through a
panel, and that loudspeakers may be a few centimetres off.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

from sim.acoustics.bands import Bands, octave_bands, sample_frequencies
from sim.acoustics.layered_reflection import reflection_factor_at
from sim.acoustics.levels import SILENCE_DB, level_db
from sim.acoustics.patches import patch_share
from sim.arrays import ComplexArray, FloatArray, IntArray
from sim.blueprint.treatment import Target
from sim.placement.built_scene import BuiltScene
from sim.placement.finishes import LayeredFinish
from sim.propagation.mirrors.image_sources import trace_paths
from sim.propagation.paths import PathTable
from sim.propagation.surfaces.coupling import patch_coupling
from sim.propagation.surfaces.factors import met_factors, path_gains
from sim.propagation.surfaces.incidence import Incidences, incidences_with
from sim.propagation.surfaces.patches import PatchViews, patch_fractions, patch_views
from sim.responses.arrivals import in_target_band
from sim.responses.measure import SAME_DB, octave_weights
from sim.responses.surface_map import head_positions

ORDER = 2
POINTS_PER_OCTAVE = 3
MOST_KEPT = 200
"""Places of panels whose fractions are kept for other build-ups there."""
PLACE_DECIMALS = 6
BELOW_TARGET = 0.1 * SAME_DB
"""Of two plans that leave the same above the target, the one that leaves less below it is better: 10 dB less of all
that panels can reach, about half as loud (common practice, no source), counts as much as a difference that is called
the same.  So it settles ties and no more."""


@dataclass(frozen=True)
class Change:
    """What one panel changes: numbers of the incidences (k,) and what it adds to their reflection factors (k, f)."""

    incidences: IntArray
    added: ComplexArray


class EarlyReflections:
    """All paths that panels can reach, ready for sets of panels.

    Attributes
    ----------
    bands
        Octaves of the target.
    paths
        The paths, those of one arrival (loudspeaker, head position, facets) next to each other.
    arrival_loudspeaker, arrival_place
        (n,) of each arrival; place 0 is the ear itself.
    """

    def __init__(self, built: BuiltScene, target: Target, planes: Iterable[int]) -> None:
        """Trace a built scene with its ears in the head box; `planes` are those that panels may hang in."""
        all_bands = octave_bands(63, 16000)
        judged = in_target_band(all_bands, target)
        self.bands = _some(all_bands, judged)
        self._limit_db, self._weight = target.level_db, target.weights.early
        self._octaves_count = octave_weights(self.bands.nominal_hz, target)
        self._built = replace(built, ears=_heads(built), listener_names=())
        self._frequencies = sample_frequencies(self.bands, POINTS_PER_OCTAVE).ravel()
        self._planes = np.array(sorted(set(planes)), dtype=np.int64)
        traced = trace_paths(self._built, ORDER)
        direct = np.flatnonzero(traced.order == 0)
        reference = self._energy_of_direct(traced.chosen(direct))
        rows = self._reachable(traced, direct, target)
        self.paths = traced.chosen(rows)
        self._starts = self._arrival_starts()
        self.arrival_loudspeaker = self.paths.loudspeaker[self._starts]
        self.arrival_place = self.paths.listener[self._starts]
        self._reference = reference[self.arrival_loudspeaker, self.arrival_place]
        self._prepare_incidences()

    def _energy_of_direct(self, paths: PathTable) -> FloatArray:
        """Energy (loudspeaker, place, f) of the direct sound averaged over each octave, repeated for its points."""
        gains = path_gains(self._built, paths, self._frequencies)
        shape = (len(self._built.loudspeakers), len(self._built.ears))
        total = np.zeros((*shape, len(self._frequencies)), dtype=np.complex128)
        np.add.at(total, (paths.loudspeaker, paths.listener), gains)
        return self._octaves(total)

    def _octaves(self, pressure: ComplexArray) -> FloatArray:
        """Mean energy (..., octave) of pressures (..., f)."""
        squared = np.abs(pressure) ** 2
        return np.asarray(squared.reshape(*squared.shape[:-1], len(self.bands), POINTS_PER_OCTAVE).mean(axis=-1))

    def _reachable(self, paths: PathTable, direct: IntArray, target: Target) -> IntArray:
        """Rows of mirrored paths inside the window that meet a treatable plane, sorted by arrival."""
        plane = np.append(self._built.room.arrays.plane, -1)[paths.facets]
        straight = {
            (s, d, e): length
            for s, d, e, length in zip(
                paths.loudspeaker[direct].tolist(),
                paths.driver[direct].tolist(),
                paths.listener[direct].tolist(),
                paths.length_m[direct].tolist(),
                strict=True,
            )
        }
        keys = zip(paths.loudspeaker.tolist(), paths.driver.tolist(), paths.listener.tolist(), strict=True)
        extra = paths.length_m - np.array([straight[key] for key in keys])
        delay_ms = 1000.0 * extra / self._built.air.speed_of_sound_m_s
        start, end = target.window_ms
        wanted = (paths.order > 0) & np.isin(plane, self._planes).any(axis=1) & (delay_ms >= start) & (delay_ms <= end)
        rows = np.flatnonzero(wanted)
        order = np.lexsort(
            (paths.driver[rows], *paths.facets[rows].T[::-1], paths.listener[rows], paths.loudspeaker[rows])
        )
        return rows[order]

    def _arrival_starts(self) -> IntArray:
        """Rows at which a new arrival begins."""
        key = np.column_stack([self.paths.loudspeaker, self.paths.listener, self.paths.facets])
        new = np.ones(len(key), dtype=bool)
        new[1:] = (key[1:] != key[:-1]).any(axis=1)
        return np.flatnonzero(new)

    def _prepare_incidences(self) -> None:
        room = self._built.room
        treatable = np.isin(room.arrays.plane, self._planes)
        self.incidences = incidences_with(self._built, self.paths, treatable)
        self.incidence_plane = room.arrays.plane[self.incidences.facet]
        bare_stage = replace(self._built, panels=())
        self._wall = met_factors(bare_stage, self.incidences, self._frequencies)
        self._factor = met_factors(self._built, self.incidences, self._frequencies)
        clear = replace(
            bare_stage,
            absorption=np.where(treatable[:, None], 0.0, self._built.absorption),
            finish_of_facet=np.where(treatable, -1, self._built.finish_of_facet)
            if self._built.finishes
            else self._built.finish_of_facet,
        )
        rest = path_gains(clear, self.paths, self._frequencies)
        # columns: up to ORDER incidences of each path; the last row of factors is 1 and stands for none
        count = len(self.incidences)
        self._met = np.full((len(self.paths), ORDER), count)
        turn = np.zeros(len(self.paths), dtype=np.int64)
        for number, path in enumerate(self.incidences.path.tolist()):
            self._met[path, turn[path]] = number
            turn[path] += 1
        self._rest: ComplexArray = rest
        self._panel_factor: dict[tuple[int, str], tuple[ComplexArray, ComplexArray]] = {}
        self._coupling: dict[tuple[int, bytes], ComplexArray] = {}
        self._fraction: dict[tuple[int, bytes], ComplexArray] = {}

    def rows_in(self, plane: int) -> IntArray:
        """Numbers of the incidences with a plane."""
        return np.flatnonzero(self.incidence_plane == plane)

    def change(self, plane: int, normal: FloatArray, finish: LayeredFinish, corners_m: FloatArray) -> Change:
        """What a panel with corners (4, 3) in a plane, of a finish with its gap, changes."""
        rows = self.rows_in(plane)
        if rows.size == 0:
            return Change(rows, np.zeros((0, len(self._frequencies)), dtype=np.complex128))
        few = self.incidences.chosen(rows)
        speed = self._built.air.speed_of_sound_m_s
        key = (plane, finish.name)
        if key not in self._panel_factor:
            factor = reflection_factor_at(finish.build_up, self._frequencies, np.arccos(few.cosine), self._built.air)
            ahead = 2.0 * finish.build_up.depth_m * few.cosine
            turn = np.exp(2j * np.pi * self._frequencies * ahead[:, None] / speed)
            self._panel_factor[key] = factor, turn
        (face, turn), wall = self._panel_factor[key], self._wall[rows]
        share = patch_share(wall, face, *self._patch(plane, normal, corners_m, few))
        return Change(rows, (face * turn - wall) * share)

    def _patch(
        self, plane: int, normal: FloatArray, corners_m: FloatArray, incidences: Incidences
    ) -> tuple[ComplexArray, ComplexArray]:
        """Fraction and coupling (k, f) of a panel of any build-up in the incidences with its plane."""
        speed = self._built.air.speed_of_sound_m_s
        place = (plane, np.round(corners_m, PLACE_DECIMALS).tobytes())
        size = (plane, np.round(corners_m - corners_m[0], PLACE_DECIMALS).tobytes())
        if place in self._fraction and size in self._coupling:
            return self._fraction[place], self._coupling[size]
        views = patch_views(corners_m, normal, incidences)
        if size not in self._coupling:
            self._coupling[size] = patch_coupling(_centred(views), self._frequencies, speed)
        if len(self._fraction) >= MOST_KEPT:
            self._fraction.clear()
        self._fraction[place] = patch_fractions(views, self._frequencies, speed)
        return self._fraction[place], self._coupling[size]

    def arrival_energies(self, changes: Iterable[Change]) -> FloatArray:
        """Energy (arrival, octave) re direct, with panels that change this."""
        factor = self._factor.copy()
        for each in changes:
            factor[each.incidences] += each.added  # a panel meets each incidence once
        factor = np.vstack([factor, np.ones((1, factor.shape[1]))])
        gains = self._rest * factor[self._met[:, 0]]
        for turn in range(1, ORDER):
            gains *= factor[self._met[:, turn]]
        if len(gains) == 0:
            return np.zeros((0, len(self.bands)))
        return self._octaves(np.add.reduceat(gains, self._starts, axis=0)) / self._reference

    def early(self, changes: Iterable[Change]) -> FloatArray:
        """Energy (loudspeaker, octave) of everything that panels can reach, mean over head positions."""
        total = np.zeros((len(self._built.loudspeakers), len(self.bands)))
        np.add.at(total, self.arrival_loudspeaker, self.arrival_energies(changes))
        return total / len(self._built.ears)

    def early_db(self, changes: Iterable[Change]) -> FloatArray:
        """The same in dB."""
        return level_db(self.early(changes))

    def early_level_db(self, changes: Iterable[Change]) -> float:
        """The early level: one number for all loudspeakers and octaves."""
        return float(level_db(self.early(changes).mean()))

    def above_db(self, changes: Iterable[Change]) -> float:
        """What all that panels can reach adds to the measure, in dB."""
        return self._above_db(self.arrival_energies(changes))

    def _above_db(self, energies: FloatArray) -> float:
        over = np.maximum(level_db(energies) - self._limit_db, 0.0) @ self._octaves_count
        return float(self._weight * over.sum() / (len(self._built.loudspeakers) * len(self._built.ears)))

    def score_db(self, changes: Iterable[Change]) -> float:
        """The score; lower is better."""
        energies = self.arrival_energies(changes)
        count = len(self._built.loudspeakers) * len(self._built.ears) * len(self.bands)
        return self._above_db(energies) + BELOW_TARGET * float(level_db(energies.sum() / count))

    def worst_db(self, changes: Iterable[Change]) -> float:
        """Highest level of any arrival at any head position in any octave of the target."""
        energies = self.arrival_energies(changes)
        return float(level_db(energies.max())) if energies.size else SILENCE_DB


def _heads(built: BuiltScene) -> FloatArray:
    """The ear first, then the corners of the head box (p, 3)."""
    offsets = head_positions(built.head_box)
    order = np.argsort(np.linalg.norm(offsets, axis=1), kind="stable")
    return np.asarray(built.ears[0] + offsets[order])


def _some(bands: Bands, rows: object) -> Bands:
    return Bands(*(getattr(bands, name)[rows] for name in ("nominal_hz", "exact_hz", "lower_hz", "upper_hz")))


def _centred(views: PatchViews) -> PatchViews:
    """The same panel with its middle at the reflection point of each path."""
    part = views.source[:, 2:] / (views.source[:, 2:] + views.ear[:, 2:])
    point = (views.source + part * (views.ear - views.source)) * np.array([1.0, 1.0, 0.0])
    return replace(views, source=views.source - point, ear=views.ear - point)
