"""Panels flush on a wall against an integral equation solved the slow way, and what is known of patches."""

from __future__ import annotations

import numpy as np
import pytest

from sim.acoustics.patches import patch_share
from sim.propagation.surfaces.coupling import patch_coupling
from sim.propagation.surfaces.incidence import Incidences
from sim.propagation.surfaces.patches import PatchViews, patch_fractions, patch_views
from tests.propagation.surfaces.slow_patch import SPEED, Wall, cells_of, first_iterate, solved, wool_admittance

UP = np.array([0.0, 0.0, 1.0])
Spans = tuple[float, float, float, float]


def wall_of(angle_deg: float, turn_deg: float, before_m: float, after_m: float) -> Wall:
    """Ends of a path that mirrors at the origin."""
    angle, turn = np.radians([angle_deg, turn_deg])
    way = np.array([np.sin(angle) * np.cos(turn), np.sin(angle) * np.sin(turn), np.cos(angle)])
    return Wall(before_m * way, after_m * way * [-1.0, -1.0, 1.0])


def centred(size: tuple[float, float], off: tuple[float, float] = (0.0, 0.0)) -> Spans:
    return off[0] - size[0] / 2, off[0] + size[0] / 2, off[1] - size[1] / 2, off[1] + size[1] / 2


def views_of(wall: Wall, spans: Spans) -> PatchViews:
    x0, x1, y0, y1 = spans
    corners = np.array([[x0, y0, 0.0], [x1, y0, 0.0], [x1, y1, 0.0], [x0, y1, 0.0]])
    ray = wall.point - wall.source
    before = np.linalg.norm(ray)
    return patch_views(
        corners,
        UP,
        Incidences(
            np.array([0]),
            np.array([0]),
            wall.point[None],
            (ray / before)[None],
            np.array([wall.cosine]),
            np.array([before]),
            np.array([wall.whole_m - before]),
        ),
    )


def found(wall: Wall, spans: Spans, frequencies: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    views = views_of(wall, spans)
    return patch_fractions(views, frequencies, SPEED)[0], patch_coupling(views, frequencies, SPEED)[0]


def plane_factor(wall: Wall, admittance: complex) -> complex:
    return (wall.cosine - admittance) / (wall.cosine + admittance)


def level_db(factor: complex) -> float:
    return 20.0 * np.log10(abs(factor))


PLACES = [
    (wall_of(0.0, 0.0, 1.3, 1.3), (0.0, 0.0)),
    (wall_of(35.0, 20.0, 1.0, 1.8), (0.0, 0.1)),
    (wall_of(55.0, 70.0, 1.5, 1.2), (0.25, -0.2)),
    (wall_of(45.0, 130.0, 1.1, 1.1), (0.5, 0.0)),
    (wall_of(20.0, 0.0, 2.0, 1.4), (-0.1, 0.6)),
]


@pytest.mark.parametrize("depth_m", [0.05, 0.1])
def test_wool_flush_on_a_rigid_wall_is_within_half_a_decibel(depth_m: float) -> None:
    """0.6 m by 1.2 m, on the reflection point and off it, where more than -12 dB is left."""
    errors = []
    frequencies = np.array([250.0, 500.0, 800.0, 1250.0])
    for wall, off in PLACES:
        spans = centred((0.6, 1.2), off)
        fraction, coupling = found(wall, spans, frequencies)
        for place, frequency in enumerate(frequencies):
            beta = wool_admittance(frequency, depth_m)
            exact = solved(wall, *cells_of(spans, SPEED / frequency / 7.0), beta, frequency)
            own = plane_factor(wall, beta)
            ours = 1.0 + (own - 1.0) * patch_share(1.0, own, fraction[place], coupling[place])
            if level_db(exact) > -12.0:
                errors.append(level_db(complex(ours)) - level_db(exact))
    assert len(errors) >= 15
    assert np.sqrt(np.mean(np.square(errors))) < 0.35
    assert np.abs(errors).max() < 1.2


def test_high_up_on_a_small_panel() -> None:
    """0.4 m by 0.3 m from 1.6 to 4 kHz, where the coupling has been let go."""
    errors = []
    frequencies = np.array([1600.0, 2500.0, 4000.0])
    for wall, off in PLACES[:3]:
        spans = centred((0.4, 0.3), (0.4 * off[0], 0.4 * off[1]))
        fraction, coupling = found(wall, spans, frequencies)
        for place, frequency in enumerate(frequencies):
            beta = wool_admittance(frequency, 0.05)
            exact = solved(wall, *cells_of(spans, SPEED / frequency / 7.0), beta, frequency)
            own = plane_factor(wall, beta)
            ours = 1.0 + (own - 1.0) * patch_share(1.0, own, fraction[place], coupling[place])
            if level_db(exact) > -12.0:
                errors.append(level_db(complex(ours)) - level_db(exact))
    assert len(errors) >= 6
    assert np.sqrt(np.mean(np.square(errors))) < 0.5


@pytest.mark.parametrize(("wall", "off"), PLACES)
def test_fraction_and_coupling_are_those_of_all_pairs_of_cells(wall: Wall, off: tuple[float, float]) -> None:
    frequencies = np.array([125.0, 400.0, 1000.0])
    spans = centred((0.6, 1.2), off)
    fraction, coupling = found(wall, spans, frequencies)
    for place, frequency in enumerate(frequencies):
        b0, mutual = first_iterate(wall, spans, frequency)
        assert fraction[place] == pytest.approx(-0.5 * wall.cosine * b0, abs=0.01)
        b0_weight = min(abs(fraction[place]) / 0.3, 1.0)  # where nothing is covered, coupling says nothing
        # four cells a wavelength and five knots an octave; and some of its own where waves cancel over the panel
        assert abs(coupling[place] - wall.cosine * mutual) * b0_weight < 0.1


def test_fractions_above_the_cells_follow_them() -> None:
    """From 3.5 to 6 kHz the sum over cells hands over to corners; against a sum fine enough for all of them."""
    frequencies = np.array([3500.0, 4000.0, 4800.0, 5500.0, 6000.0])
    for wall, off in PLACES[:3]:
        spans = centred((0.6, 0.6), off)
        exact = []
        for frequency in frequencies:
            k = 2.0 * np.pi * frequency / SPEED
            middles, sides = cells_of(spans, SPEED / frequency / 12.0)
            flat = np.column_stack([middles, np.zeros(len(middles))])
            near, far = (np.linalg.norm(flat - end, axis=1) for end in (wall.source, wall.ear))
            total = (np.exp(-1j * k * (near + far - wall.whole_m)) / (near * far)).sum() * sides.prod()
            exact.append(0.5j * k / np.pi * wall.cosine * wall.whole_m * total)
        ours = patch_fractions(views_of(wall, spans), frequencies, SPEED)[0]
        assert np.sqrt(np.mean(np.abs(ours - exact) ** 2)) < 0.08


def test_many_frequencies_are_those_of_few() -> None:
    wall, off = PLACES[2]
    spans, dense = centred((0.6, 1.2), off), np.arange(0.0, 9000.0, 11.71875)
    some = np.arange(5, len(dense), 60)
    for many, few in zip(found(wall, spans, dense), found(wall, spans, dense[some]), strict=True):
        assert many[some] == pytest.approx(few, abs=1e-3)
        assert np.isfinite(many).all()


def test_a_large_patch_has_the_reflection_of_a_plane_and_a_tiny_one_none_of_its_own() -> None:
    wall = wall_of(30.0, 0.0, 1.0, 1.2)
    fraction, coupling = found(wall, centred((9.0, 9.0)), np.array([300.0, 600.0]))
    assert fraction == pytest.approx(np.ones(2), abs=0.16)  # four rims ripple, each 0.04 or so
    assert coupling == pytest.approx(np.ones(2), abs=0.05)
    fraction, coupling = found(wall, centred((0.02, 0.02)), np.array([100.0, 200.0]))
    assert np.abs(fraction).max() < 1e-3
    assert np.abs(coupling).max() < 0.05


def test_source_and_ear_may_be_exchanged() -> None:
    wall, off = PLACES[2]
    frequencies = np.geomspace(60.0, 8000.0, 30)
    there = found(wall, centred((0.6, 1.2), off), frequencies)
    back = found(Wall(wall.ear, wall.source), centred((0.6, 1.2), off), frequencies)
    for one, other in zip(there, back, strict=True):
        assert one == pytest.approx(other, abs=1e-9)


def test_nothing_jumps_as_a_panel_slides_by_millimetres() -> None:
    """Past the reflection point, far off it, and through every blend: steps of a millimetre change little, evenly."""
    wall = wall_of(40.0, 25.0, 1.2, 1.5)
    frequencies = np.geomspace(63.0, 8000.0, 40)
    own = 0.3 + 0.2j

    def factor(off: float) -> np.ndarray:
        fraction, coupling = found(wall, centred((0.6, 0.6), (off, 0.1)), frequencies)
        return 1.0 + (own - 1.0) * patch_share(1.0, own, fraction, coupling)

    for off in (0.0, 0.3, 0.31, 0.9, 1.7):
        steps = np.array([factor(off + shift) for shift in (-1.5e-3, -0.5e-3, 0.5e-3, 1.5e-3)])
        once, bent = np.abs(np.diff(steps, axis=0)), np.abs(np.diff(steps, n=2, axis=0))
        assert once.max() < 0.03
        assert bent.max() < 0.1 * once.max() + 1e-3


@pytest.mark.parametrize("wall_beta", [0.08, 0.3])
def test_a_panel_in_a_soft_wall(wall_beta: float) -> None:
    """A wall of 2.2 m by 2.2 m solved with the panel in it, less the same without: within 0.5 dB rms."""
    errors = []
    for frequency in (250.0, 400.0):
        for wall, off in PLACES[:4]:
            spans = centred((0.6, 1.2), off)
            middles, sides = cells_of(centred((2.2, 2.2)), 0.11)
            x, y = middles.T
            # cells lie in the panel by the part of them that does
            part = np.clip((np.minimum(x - spans[0], spans[1] - x) + sides[0] / 2) / sides[0], 0.0, 1.0)
            part *= np.clip((np.minimum(y - spans[2], spans[3] - y) + sides[1] / 2) / sides[1], 0.0, 1.0)
            beta = wool_admittance(frequency, 0.1)
            without = solved(wall, middles, sides, wall_beta, frequency)
            with_panel = solved(wall, middles, sides, wall_beta + (beta - wall_beta) * part, frequency)
            bare, own = plane_factor(wall, wall_beta), plane_factor(wall, beta)
            exact = bare + with_panel - without
            fraction, coupling = found(wall, spans, np.array([frequency]))
            ours = bare + (own - bare) * patch_share(bare, own, fraction[0], coupling[0])
            if level_db(exact) > -12.0:
                errors.append(level_db(complex(ours)) - level_db(exact))
    assert len(errors) >= 5
    assert np.sqrt(np.mean(np.square(errors))) < 0.6


def test_a_panel_of_the_walls_own_stuff_is_the_wall() -> None:
    for factor in (1.0, 0.8, 0.3 - 0.4j, -1.0):
        share = patch_share(factor, factor, 0.7 + 0.2j, 0.9 + 0.3j)
        assert share == pytest.approx(0.7 + 0.2j, abs=1e-9)
    assert np.isfinite(patch_share(1.0, -1.0, 0.5, 0.0))


@pytest.mark.parametrize(("gap_m", "within_db"), [(0.0, 1.6), (0.3, 0.8)])
def test_two_panels_side_by_side_are_added(gap_m: float, within_db: float) -> None:
    """What they do to each other is left out: about 1 dB rms where they touch, half of that 0.3 m apart."""
    errors = []
    for frequency in (250.0, 500.0, 800.0):
        for wall, off in PLACES[:4]:
            one = centred((0.6, 1.2), off)
            other = (one[1] + gap_m, one[1] + gap_m + 0.6, one[2], one[3])
            parts = [cells_of(spans, SPEED / frequency / 6.0) for spans in (one, other)]
            middles = np.concatenate([middles for middles, _ in parts])
            beta = wool_admittance(frequency, 0.1)
            exact = solved(wall, middles, parts[0][1], beta, frequency)
            own = plane_factor(wall, beta)
            shares = [patch_share(1.0, own, *found(wall, spans, np.array([frequency]))) for spans in (one, other)]
            ours = 1.0 + (own - 1.0) * sum(shares)[0]
            if level_db(exact) > -12.0:
                errors.append(level_db(complex(ours)) - level_db(exact))
    assert len(errors) >= 6
    assert np.sqrt(np.mean(np.square(errors))) < within_db
