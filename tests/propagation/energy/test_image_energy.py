"""Energies of direct and mirrored paths, by hand."""

from __future__ import annotations

import numpy as np
import pytest

from sim.acoustics.air import attenuation_db_per_m
from sim.errors import BounceplanError
from sim.propagation.energy.boundaries import boundaries_of
from sim.propagation.energy.image_energy import air_per_m, direct_arrival_s, image_energy, octave_energy
from tests.built_scenes import block, box, built_scene_of, loudspeaker
from tests.propagation.energy.test_late_rays import EAR, SOURCE, room_of
from tests.propagation.energy.test_tracer_kernels import furnished


def test_first_arrivals_of_a_box() -> None:
    """Distances as in a room of 5 by 4 by 3 m by hand: direct 2.610077 m, floor 3.545772 m, ceiling 4.446628 m."""
    built = room_of(0.2, 0.3)
    energy = image_energy(built, order=1, bin_s=1e-4, length_s=0.03)[0, 0]
    lengths = [2.610077, 3.545772, 4.446628, 4.506939, 4.562072, 4.930771, 5.550901]
    for n, length in enumerate(lengths):
        loss = 10.0 ** (-attenuation_db_per_m(np.array([2000.0]), built.air)[0] * length / 10.0)
        expected = (1.0 if n == 0 else 0.8 * 0.7) / length**2 * loss
        assert energy[5, int(length / 343.2 / 1e-4)] == pytest.approx(expected, rel=1e-4)
    assert np.count_nonzero(energy[5]) == 7
    assert direct_arrival_s(built)[0, 0] == pytest.approx(7.6051e-3, abs=1e-7)


@pytest.mark.parametrize(("order", "count"), [(0, 1), (1, 7), (2, 25), (3, 63)])
def test_orders_hold_what_the_lattice_has(order: int, count: int) -> None:
    """1, 7, 25 and 63 images of up to 0, 1, 2 and 3 mirrors (Allen & Berkley, JASA 65 (1979) 943-950)."""
    built = room_of(0.0, 0.0, (5.0, 4.1, 3.03), (1.0, 1.53, 1.21), (3.51, 2.27, 1.13))
    energy = image_energy(built, order=order, bin_s=1e-6, length_s=0.1)[0, 0, 0]
    assert np.count_nonzero(energy) == count


def test_directivity_counts_from_the_axis_point_with_all_drivers() -> None:
    left = loudspeaker((1.0, 1.0, 1.2), model="two-way", toe_in_deg=0.0)
    built = built_scene_of(box(5.0, 4.0, 2.5), [left], (3.5, 2.0, 1.2))
    energy = image_energy(built, order=0, length_s=0.02)[0, 0].sum(axis=-1)
    one = built.loudspeakers[0]
    way = built.ears[0] - one.axis_point
    length = float(np.linalg.norm(way))
    expected = octave_energy(one.model, one.to_box(way[None] / length), 343.2)[0] / length**2
    assert energy == pytest.approx(expected * np.exp(-air_per_m(built) * length), rel=1e-9)
    # 22 degrees off the axis a piston of 25 mm in a baffle sends |2 J1(x)/x|^2 = 0.887 at 8 kHz, x = ka sin (Kinsler et
    # al., Fundamentals of Acoustics, section 7-4); the edges of its box are worth a few per cent in an octave
    assert 0.82 < energy[7] / energy[0] < 0.93


def test_hidden_direct_sound_has_no_energy() -> None:
    wall = {**block((2.0, 2.2), (0.5, 3.5), (0.0, 2.0)), "name": "wall"}
    built = built_scene_of(box(5.0, 4.0, 2.5), [(1.0, 2.0, 1.2)], (3.5, 2.0, 1.2), furniture=[wall])
    assert not image_energy(built, order=0, length_s=0.1).any()
    assert image_energy(built, order=2, length_s=0.1).any()


def test_a_panel_on_the_wall_stands_in_for_it() -> None:
    built = furnished()
    one, boundaries = built.loudspeakers[0], boundaries_of(built)
    with_panel = image_energy(built, order=1, bin_s=1e-5, length_s=0.03)[0, 0]
    mirrored = one.axis_point * np.array([1.0, -1.0, 1.0])
    length = float(np.linalg.norm(mirrored - built.ears[0]))
    kept = boundaries.kept[-1, 3] * (1.0 - boundaries.scattering[-1, 3])
    assert with_panel[3, int(length / 343.2 / 1e-5)] == pytest.approx(kept / length**2, rel=0.01)


def test_what_cannot_be_is_refused() -> None:
    with pytest.raises(BounceplanError, match="give 0"):
        image_energy(room_of(0.2, 0.1, source=SOURCE, ear=EAR), order=-1)
