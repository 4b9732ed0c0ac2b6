"""The decay of one scene: images and rays to energies, energies to figures, figures against the target.

Neglected: diffraction in all that comes late, interference and resonances (rays are energies), the placement of
drivers (sound leaves the acoustic axis point), people.  Scattering coefficients are estimates.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from functools import cached_property
from typing import Final

import numpy as np

from sim.acoustics.bands import Bands, octave_bands
from sim.arrays import BoolArray, FloatArray, frozen
from sim.blueprint.reader import AnyScene, SceneFile, read_scene, with_second_seat
from sim.blueprint.treatment import Target
from sim.machine.processes import one_blas_thread
from sim.placement.built_scene import BuiltScene, build_scene
from sim.progress import Report, say_nothing
from sim.propagation.energy.image_energy import direct_arrival_s, image_energy
from sim.propagation.energy.late_rays import late_energy
from sim.propagation.mirrors.image_sources import trace_paths
from sim.responses.arrivals import judge, list_arrivals
from sim.responses.statistical_decay import diffuse_room
from sim.responses.transition import judged_from_hz
from sim.studies.decay.late import T20, Gathered, Wanted, curves_of, gather, left_out_means, spread_of
from sim.studies.decay.records import DecayStudy, RoomDecay
from sim.studies.decay.room_metrics import FIGURES, figures, level_curves_db, range_db
from sim.studies.decay.verdict import aim_of, cautions_of, initial_gaps, judge_decay

PERCENT: Final = 2.0
"""Standard error of T20 to reach; 5 % is just noticed (ISO 3382-1, Table A.1)."""
CLARITY_DB: Final = 0.3
"""Standard error of C50 to reach; about 1 dB is just noticed (ISO 3382-1, Table A.1)."""
MOST_RAYS: Final = 400_000
RULE: Final = "-10 dB to 15 ms"
"""Early reflections of listening rooms (ITU-R BS.1116-3, EBU Tech 3276; from memory)."""
BIN_S: Final = 5e-4
COARSER_S: Final = 2.0
"""Sound that is followed for n times this long is kept in bins n times as wide, to keep memory small."""
STEP_S: Final = 1e-3
"""Time between points of the curves that are kept."""
FIRST_LENGTH: Final = 1.3
"""Times the longest of Sabine's times, to begin with: rooms with uneven absorption take longer than he says."""
SHORTEST_S: Final = 0.1
LONGEST_S: Final = 8.0
T30 = FIGURES.index("t30_s")


class RoomSound:
    """Energies of one built scene, octaves 125 Hz to 8 kHz; the `Sound` that `late_decay.gather` asks for."""

    def __init__(self, built: BuiltScene, seed: int, order: int, workers: int) -> None:
        self._built, self._seed, self._order, self._workers = built, seed, order, workers

    @cached_property
    def arrival_s(self) -> FloatArray:
        """(source, listener) when direct sound arrives."""
        return direct_arrival_s(self._built)

    @cached_property
    def direct(self) -> FloatArray:
        """(source, listener, octave) energy of direct sound; none where something hides it."""
        length = float(self.arrival_s.max()) + 2.0 * STEP_S
        only = image_energy(self._built, order=0, bin_s=STEP_S, length_s=length)
        return np.asarray(only[:, :, 1:].sum(axis=-1))

    def images(self, bin_s: float, length_s: float) -> FloatArray:
        """(source, listener, octave, bin) direct sound and mirrored paths."""
        return image_energy(self._built, order=self._order, bin_s=bin_s, length_s=length_s)[:, :, 1:]

    def late(self, first_ray: int, rays: int, bin_s: float, length_s: float) -> FloatArray:
        """(source, listener, octave, bin) mean of some rays."""
        energy = late_energy(
            self._built,
            seed=self._seed,
            first_ray=first_ray,
            rays=rays,
            order=self._order,
            bin_s=bin_s,
            length_s=length_s,
            workers=self._workers,
        )
        return energy[:, :, 1:]


def study_decay(
    scene: SceneFile,
    built: BuiltScene,
    *,
    seed: int,
    most_rays: int = MOST_RAYS,
    percent: float = PERCENT,
    clarity_db: float = CLARITY_DB,
    workers: int = 0,
    report: Report = say_nothing,
) -> DecayStudy:
    """Find the decay of every loudspeaker at every listener; `workers` threads (0: all cores) change no bit.

    Raises
    ------
    BounceplanError
        For fewer than 1024 rays, a wanted error that is not above zero, or a seed that cannot be one.
    """
    octaves, diffuse = octave_bands(125, 8000), diffuse_room(built)
    order = scene.blueprint.method.order
    sound = RoomSound(built, seed, order, workers)
    transition = judged_from_hz(scene.blueprint, built)
    judged = expected = octaves_judged(octaves, transition)
    length = float(sound.arrival_s.max()) + FIRST_LENGTH * float(diffuse.sabine_s[1:][expected].max())
    length = min(max(length, SHORTEST_S + float(sound.arrival_s.max())), LONGEST_S)
    wanted, bin_s = Wanted(percent, clarity_db, expected), BIN_S * math.ceil(length / COARSER_S)
    done = gather(sound, wanted, most_rays=most_rays, bin_s=bin_s, length_s=length, report=report)
    room = _room_decay(sound, done)
    paths, rule, target = trace_paths(built, order), Target(preset=RULE), scene.blueprint.target
    arrivals, ruled = (list_arrivals(built, paths, octave_bands(), each, notches=False) for each in (target, rule))
    aim = aim_of(built.volume_m3, octaves)
    time_s, level, level_error, depth = _curves(sound, done)
    study = DecayStudy(
        scene=scene,
        built=built,
        octaves=octaves,
        seed=seed,
        order=order,
        rays=done.rays,
        batches=len(done.batches),
        bin_s=done.bin_s,
        length_s=done.length_s,
        wanted_percent=percent,
        wanted_db=clarity_db,
        transition_hz=transition,
        judged=judged,
        figures=frozen(done.figures),
        errors=frozen(done.errors),
        met=frozen(done.met),
        time_s=frozen(time_s),
        level_db=frozen(level),
        level_error_db=frozen(level_error),
        range_db=frozen(depth),
        room=room,
        aim=aim,
        verdicts=judge_decay(octaves, judged, room, aim),
        diffuse=diffuse,
        gaps=initial_gaps(arrivals),
        early=judge(arrivals, target),
        early_rule=judge(ruled, rule),
        cautions=(),
    )
    return replace(study, cautions=cautions_of(study))


def octaves_judged(octaves: Bands, transition_hz: float) -> BoolArray:
    """Which octaves lie above the transition frequency as a whole; the upper three always do."""
    return np.asarray((octaves.lower_hz >= transition_hz) | (octaves.nominal_hz >= 2000.0))


def _room_decay(sound: RoomSound, done: Gathered) -> RoomDecay:
    """Means over loudspeakers and listeners; their errors from the same batches, as places share rays."""
    found = done.figures[..., (T20, T30)].mean(axis=(0, 1))
    others = left_out_means(done.batches)
    each = [
        figures(curves_of(sound, others[:, s, place], done.bin_s, s, place))[..., (T20, T30)]
        for s, place in np.ndindex(*sound.arrival_s.shape)
    ]
    error = spread_of(np.mean(each, axis=0))
    return RoomDecay(frozen(found[:, 0]), frozen(error[:, 0]), frozen(found[:, 1]), frozen(error[:, 1]))


def _curves(sound: RoomSound, done: Gathered) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Times (t,), levels and their errors (source, listener, octave, t), and how far down they were followed."""
    time_s = np.arange(0.0, done.length_s - float(sound.arrival_s.max()), STEP_S)
    shape = (*sound.arrival_s.shape, done.batches.shape[3])
    level, error, depth = np.zeros((*shape, len(time_s))), np.zeros((*shape, len(time_s))), np.zeros(shape)
    others, mean = left_out_means(done.batches), done.batches.mean(axis=0)
    for s, place in np.ndindex(*sound.arrival_s.shape):
        whole = curves_of(sound, mean[s, place], done.bin_s, s, place)
        level[s, place], depth[s, place] = level_curves_db(whole, time_s), range_db(whole)
        with np.errstate(invalid="ignore"):
            error[s, place] = spread_of(
                level_curves_db(curves_of(sound, others[:, s, place], done.bin_s, s, place), time_s)
            )
    return time_s, level, error, depth


@one_blas_thread()
def decay(
    scene: AnyScene,
    report: Report = say_nothing,
    *,
    seed: int | None = None,
    most_rays: int = MOST_RAYS,
    percent: float = PERCENT,
    clarity_db: float = CLARITY_DB,
    threads: int | None = None,
    second_seat: Sequence[str] | None = None,
) -> DecayStudy:
    """Find how sound decays in a scene: figures of ISO 3382 with their statistical errors, against the target.

    Rays are traced until T20 is known to `percent` and C50 to `clarity_db` (standard errors), or `most_rays` from each
    loudspeaker are used up.  The same seed (left out: the scene's) gives the same numbers for any number of threads.
    `second_seat` (from_front, from_left, up as a scene file writes them) takes the place of the scene's.

    Raises
    ------
    BounceplanError
        For a scene, a seed, a number of rays or a wanted error that cannot be.
    """
    report("reading the scene")
    read = read_scene(scene)
    if second_seat is not None:
        read = with_second_seat(read, second_seat)
    built = build_scene(read.blueprint, read.folder)
    chosen = read.blueprint.method.seed if seed is None else seed
    return study_decay(
        read,
        built,
        seed=chosen,
        most_rays=most_rays,
        percent=percent,
        clarity_db=clarity_db,
        workers=threads or 0,
        report=report,
    )
