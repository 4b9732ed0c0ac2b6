"""Late energy against images, spheres alone, closed formulas and itself."""

from __future__ import annotations

import os
from itertools import product

import numpy as np
import pytest

from sim.blueprint.reader import read_scene
from sim.errors import BounceplanError
from sim.geometry.patches import Patch
from sim.placement.built_scene import BuiltScene, build_scene
from sim.propagation.energy.image_energy import air_per_m, image_energy
from sim.propagation.energy.late_rays import CHUNK, late_energy, receiver_radii, trace_late
from tests.built_scenes import bare_stage, box, built_scene_of, prism
from tests.propagation.energy.test_tracer_kernels import furnished
from tests.propagation.slow_rays import box_by_spheres_alone
from tests.scenes.test_demo_scenes import FOLDER, NAMES

SOURCE, EAR = (1.0, 1.5, 1.2), (3.5, 2.25, 1.2)
LEAK_BOUNCES = 1e7 * int(os.environ.get("BOUNCEPLAN_RAYS", "1"))
"""How many surfaces the test of leaks meets in all; set BOUNCEPLAN_RAYS=100 for a night's run of 1e9."""


def room_of(
    absorption: float,
    scattering: float,
    size: tuple[float, float, float] = (5.0, 4.0, 3.0),
    source: tuple[float, float, float] = SOURCE,
    ear: tuple[float, float, float] = EAR,
    **more: object,
) -> BuiltScene:
    """A box of one material with a point source."""
    material = {"absorption": [absorption] * 8, "scattering": scattering, "source": "made up for a test"}
    return built_scene_of(box(*size, "it"), [source], ear, materials={"it": material}, **more)


def mean_and_error(values: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Mean over the first axis (batches) and its standard error."""
    return values.mean(axis=0), values.std(axis=0, ddof=1) / np.sqrt(len(values))


def batches(built: BuiltScene, count: int, rays: int, **more: object) -> np.ndarray:
    """Energy (batch, source, listener, octave, bin) of independent batches of rays."""
    return np.stack(
        [late_energy(built, seed=5, rays=rays, first_ray=n * rays, **more) for n in range(count)]  # type: ignore[arg-type]
    )


def within(found: np.ndarray, error: np.ndarray, expected: np.ndarray, errors: float = 4.0) -> bool:
    return bool(np.all(np.abs(found - expected) < errors * error))


@pytest.mark.parametrize("scattering", [0.0, 0.3, 1.0])
def test_images_and_rays_have_one_sum_whatever_the_order(scattering: float) -> None:
    """Every path once: what images of a higher order gain, rays lose, in every 50 ms."""
    built = room_of(0.3, scattering)
    sums = []
    for order in range(4):
        rays, error = mean_and_error(batches(built, 16, 4096, order=order, bin_s=0.05, length_s=0.25)[:, 0, 0, 4])
        sums.append((rays + image_energy(built, order=order, bin_s=0.05, length_s=0.25)[0, 0, 4], error))
    for total, error in sums[1:]:
        # the same rays, so that only what changed sides differs
        assert within(total, np.hypot(error, sums[0][1]), sums[0][0]), (total, sums[0][0])
        assert error.max() < 0.03 * total.max()
    if scattering == 1.0:
        assert np.array_equal(sums[0][0], sums[3][0])


@pytest.mark.parametrize("scattering", [0.0, 0.5, 1.0])
def test_rain_and_sphere_together_are_spheres_alone(scattering: float) -> None:
    """The twin counts every way through the sphere, direct sound included, and knows neither rain nor images."""
    built = room_of(0.25, scattering, air={"relative_humidity_percent": 50.0})
    found, error = mean_and_error(batches(built, 16, 4096, order=1, length_s=2.0, bin_s=2.0)[:, 0, 0, 0, 0])
    found = found + image_energy(built, order=1, length_s=2.0, bin_s=2.0)[0, 0, 0, 0]
    alone = box_by_spheres_alone(
        np.array([5.0, 4.0, 3.0]),
        np.array(SOURCE),
        np.array(EAR),
        kept=0.75,
        scattering=scattering,
        rays=200_000,
        radius_m=0.25,
        bounces=60,
        seed=1,
    )
    expected, spread = alone.mean(), alone.std() / np.sqrt(len(alone))
    assert abs(found - expected) < 4.0 * np.hypot(error, spread)
    assert np.hypot(error, spread) < 0.02 * expected


def lattice(size: tuple[float, float, float], kept: float, air: float, bin_s: float, bins: int) -> np.ndarray:
    """Energy (bin,) of all images of a box (Allen & Berkley, JASA 65 (1979) 943-950), energies for pressures."""
    speed = 343.2
    found = np.zeros(bins)
    reach = speed * bin_s * bins
    axes = []
    for length, source, ear in zip(size, SOURCE, EAR, strict=True):
        most = int(reach / (2.0 * length)) + 2
        axes.append(
            [
                ((1 - 2 * q) * source + 2 * n * length - ear, abs(2 * n - q))
                for n in range(-most, most + 1)
                for q in (0, 1)
            ]
        )
    xs, ys, zs = (np.array(axis) for axis in axes)
    for (x, i), (y, j) in product(xs, ys):
        away = np.sqrt(x * x + y * y + zs[:, 0] ** 2)
        near = away < reach
        weight = kept ** (i + j + zs[near, 1]) / away[near] ** 2 * np.exp(-air * away[near])
        found += np.bincount((away[near] / speed / bin_s).astype(int), weight, bins)[:bins]
    return found


@pytest.mark.parametrize("size", [(4.0, 4.0, 4.0), (20.0, 3.0, 2.8)], ids=["cube", "long room"])
def test_mirrors_alone_are_the_lattice_of_images(size: tuple[float, float, float]) -> None:
    built = room_of(0.2, 0.0, size)
    rays, error = mean_and_error(batches(built, 16, 8192, order=1, bin_s=0.05, length_s=0.4)[:, 0, 0, 6])
    found = rays + image_energy(built, order=1, bin_s=0.05, length_s=0.4)[0, 0, 6]
    expected = lattice(size, 0.8, float(air_per_m(built)[6]), 0.05, 8)
    assert within(found, error, expected), (found, error, expected)
    assert np.all(error < 0.2 * expected)


def decay_s(energy: np.ndarray, bin_s: float, begin_db: float, end_db: float) -> float:
    """Time for 60 dB by a straight line through the backward sum between two levels (ISO 3382-2:2008)."""
    left = np.cumsum(energy[::-1])[::-1] / energy.sum()
    level = 10.0 * np.log10(np.maximum(left, 1e-30))
    rows = np.flatnonzero((level <= begin_db) & (level >= end_db))
    return float(-60.0 / np.polyfit(rows * bin_s, level[rows], 1)[0])


@pytest.mark.parametrize(("size", "spread"), [((4.0, 4.0, 4.0), 0.342), ((10.0, 2.0, 2.0), 0.412)])
@pytest.mark.parametrize("absorption", [0.05, 0.2])
def test_diffuse_rooms_decay_as_eyring_corrected_by_kuttruff(
    absorption: float, size: tuple[float, float, float], spread: float
) -> None:
    """Kuttruff, Room Acoustics: -ln(1-a) (1 + g/2 ln(1-a)), g the relative variance of the paths between surfaces.

    0.342 in a cube, 0.412 where one side is five times the others (from memory).  Eyring's own formula takes all paths
    as alike; Sabine's is longer still.  The octave of 63 Hz has hardly any air.
    """
    depth, width, height = size
    surface = 2.0 * (depth * width + depth * height + width * height)
    sabine = 24.0 * np.log(10.0) / 343.2 * depth * width * height / (surface * absorption)
    eyring = sabine * absorption / -np.log1p(-absorption)
    corrected = eyring / (1.0 + 0.5 * spread * np.log1p(-absorption))
    built = room_of(absorption, 1.0, size, (1.0, 1.3, 1.1), (0.6 * depth, 1.5, 1.7))
    energy = trace_late(built, seed=2, rays=20_000, order=0, bin_s=2e-3, length_s=1.6 * eyring).energy
    found = decay_s(energy[0, 0, 0], 2e-3, -5.0, -35.0)
    assert found == pytest.approx(corrected, rel=0.02)
    assert 1.005 * eyring < found < sabine


def test_mean_free_path() -> None:
    """4V/S for diffuse surfaces (Kuttruff, Room Acoustics): 2.55319 m in a room of 5 by 4 by 3 m."""
    built = room_of(0.3, 1.0)
    paths = np.array(
        [trace_late(built, seed=4, rays=CHUNK, first_ray=n * CHUNK, order=0).mean_path_m for n in range(64)]
    )
    mean, error = mean_and_error(paths)
    assert abs(mean - 4.0 * 60.0 / 94.0) < 3.5 * error
    assert error < 0.005


def test_what_is_sent_is_what_is_taken_given_up_or_late() -> None:
    found = trace_late(furnished(), seed=1, rays=2000, order=1, length_s=0.15)
    whole = found.absorbed + found.air + found.left + found.late + found.escaped
    assert whole == pytest.approx(1.0, abs=1e-12)
    assert found.worst_imbalance < 1e-12
    assert found.escaped.max() == 0.0
    assert found.late.max() > 0.001 and 0.0 < found.left.max() < 1e-7
    assert np.all(found.air[:, 7] > 10.0 * found.air[:, 2])


def sheet_in_a_room() -> BuiltScene:
    """A room with a sheet that has two sides and no thickness, as a free curtain of a mesh would."""
    room = room_of(0.2, 0.5)
    quad = np.array([[2.0, 1.0, 0.5], [2.0, 3.0, 0.5], [2.3, 3.0, 2.0], [2.3, 1.0, 2.0]])
    front = np.stack([quad[[0, 1, 2]], quad[[0, 2, 3]]])
    patches = [
        Patch(f.name, f.owner, f.material, room.room.triangles[room.room.facet_of_triangle == n])
        for n, f in enumerate(room.room.facets)
    ]
    patches += [Patch("sheet", "sheet", "it", front), Patch("sheet", "sheet", "it", front[:, ::-1].copy())]
    return bare_stage(patches, np.array([SOURCE]), np.array(EAR))


def closed_rooms() -> dict[str, BuiltScene]:
    splayed = prism([(0.0, 0.3), (4.8, 0.0), (5.1, 3.7), (0.1, 3.5)], 2.6)
    angle = prism([(0.0, 0.0), (5.0, 0.0), (5.0, 2.2), (3.0, 2.2), (3.0, 4.0), (0.0, 4.0)], 2.5)
    return {
        "box": room_of(0.02, 0.3),
        "splayed": built_scene_of(splayed, [SOURCE], (3.5, 2.0, 1.2)),
        "angle": built_scene_of(angle, [(1.0, 1.0, 1.2)], (2.5, 3.0, 1.1)),
        "furnished": furnished(),
        "sheet": sheet_in_a_room(),
    }


def test_nothing_leaks_from_closed_rooms() -> None:
    met = 0
    rooms = closed_rooms()
    for built in rooms.values():
        begun = met
        while met - begun < LEAK_BOUNCES / len(rooms):
            found = trace_late(built, seed=9, rays=16 * CHUNK, first_ray=met, order=0, length_s=2.0)
            assert found.escaped.max() == 0.0
            met += found.bounces


@pytest.mark.parametrize("name", NAMES)
def test_nothing_leaks_from_the_demo_scenes(name: str) -> None:
    scene = FOLDER / name / "scene.toml"
    found = trace_late(build_scene(read_scene(scene).blueprint, scene.parent), seed=3, rays=4 * CHUNK)
    assert found.escaped.max() == 0.0
    assert found.worst_imbalance < 1e-12


def test_threads_and_batches_change_nothing() -> None:
    built = furnished()
    settings = {"seed": 6, "order": 1, "bin_s": 5e-3, "length_s": 0.3}
    whole = trace_late(built, rays=3000, workers=1, **settings)  # type: ignore[arg-type]
    again = trace_late(built, rays=3000, workers=2, **settings)  # type: ignore[arg-type]
    assert np.array_equal(whole.energy, again.energy)
    assert whole.bounces == again.bounces
    first = {"first": 0, "second": 700, "third": 2048}
    counts = {"first": 700, "second": 1348, "third": 952}
    parts = {
        key: late_energy(built, rays=counts[key], first_ray=first[key], **settings)  # type: ignore[arg-type]
        for key in ("third", "first", "second")
    }
    joined = sum(parts[key] * counts[key] for key in first) / 3000.0
    assert np.abs(joined - whole.energy).max() < 1e-13 * np.abs(whole.energy).max()
    other = late_energy(built, rays=3000, **{**settings, "seed": 7})  # type: ignore[arg-type]
    assert not np.array_equal(other, whole.energy)


def test_the_error_falls_as_one_over_the_root_of_the_rays() -> None:
    """Over four decades: the slope of log error over log rays is -1/2 (the central limit theorem)."""
    built = room_of(0.8, 0.5)
    settings = {"order": 0, "bin_s": 0.5, "length_s": 0.5, "threshold": 1e-3, "radius_m": 0.8}
    counts = np.array([10, 100, 1000, 10_000, 100_000])
    errors = []
    for count in counts:
        repeats = 12 if count > 50_000 else 96
        values = batches(built, repeats, int(count), **settings)[:, 0, 0, 4, 0]
        errors.append(values.std(ddof=1))
    slope = np.polyfit(np.log(counts), np.log(errors), 1)[0]
    assert slope == pytest.approx(-0.5, abs=0.04)


def uneven(swapped: bool) -> BuiltScene:
    rough = {"absorption": [0.1] * 8, "scattering": 0.6, "source": "made up"}
    soft = {"absorption": [0.7] * 8, "scattering": 0.1, "source": "made up"}
    source, ear = ((3.9, 2.9, 1.0), (0.9, 1.0, 1.8)) if swapped else ((0.9, 1.0, 1.8), (3.9, 2.9, 1.0))
    room = box(5.0, 4.0, 2.6, {"all": "rough", "ceiling": "soft", "left wall": "soft"})
    cupboard = {
        "kind": "block",
        "name": "cupboard",
        "from_front": [2.0, 2.6],
        "from_left": [1.2, 2.4],
        "up": [0.0, 1.9],
    }
    return built_scene_of(
        room, [source], ear, materials={"rough": rough, "soft": soft}, furniture=[{**cupboard, "material": "rough"}]
    )


def test_source_and_ear_may_change_places() -> None:
    """Reciprocity, within four standard errors, in every 40 ms; uneven absorption, a cupboard between both."""
    settings = {"order": 1, "bin_s": 0.04, "length_s": 0.2}
    sums = []
    for swapped in (False, True):
        built = uneven(swapped)
        rays, error = mean_and_error(batches(built, 16, 4096, **settings)[:, 0, 0, 4])
        sums.append((rays + image_energy(built, **settings)[0, 0, 4], error))  # type: ignore[arg-type]
    assert within(sums[0][0], np.hypot(sums[0][1], sums[1][1]), sums[1][0])
    assert np.all(sums[0][1] < 0.1 * sums[0][0])


def test_a_smaller_sphere_says_the_same() -> None:
    """The bias of a sphere of 0.25 m is below what these rays can tell."""
    built = room_of(0.3, 0.2)
    settings = {"order": 2, "bin_s": 0.1, "length_s": 0.3}
    large, error = mean_and_error(batches(built, 16, 8192, radius_m=0.25, **settings)[:, 0, 0, 4])
    small, more = mean_and_error(batches(built, 16, 8192, radius_m=0.12, **settings)[:, 0, 0, 4])
    assert within(large, np.hypot(error, more), small)


def test_radii_shrink_where_a_surface_is_near() -> None:
    assert receiver_radii(room_of(0.3, 0.2)) == pytest.approx([0.25])
    assert receiver_radii(room_of(0.3, 0.2, ear=(3.5, 2.25, 0.18))) == pytest.approx([0.18])
    assert receiver_radii(room_of(0.3, 0.2, ear=(3.5, 2.25, 0.05))) == pytest.approx([0.10])


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"rays": 0}, "give at least 1 ray"),
        ({"first_ray": -1}, "counted from 0"),
        ({"seed": -1}, "the seed -1"),
        ({"order": -1}, "give 0"),
        ({"bin_s": 0.0}, "above zero"),
        ({"length_s": float("nan")}, "above zero"),
        ({"threshold": 1.0}, "between 0 and 1"),
        ({"radius_m": 0.0}, "a radius above zero"),
        ({"bin_s": 1e-9}, "longer bins"),
    ],
)
def test_what_cannot_be_is_refused(wrong: dict[str, float], said: str) -> None:
    with pytest.raises(BounceplanError, match=said):
        trace_late(room_of(0.3, 0.2), **{"seed": 1, "rays": 8, **wrong})  # type: ignore[arg-type]
