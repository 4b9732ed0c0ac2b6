from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from sim.acoustics.bands import octave_bands
from sim.responses.arrivals import in_target_band
from sim.responses.surface_map import surface_maps
from sim.studies.treat.candidates import GRID_M, candidate_groups, energy_tables
from sim.studies.treat.refinement import is_ragged
from tests.studies.treat.planned import domain_of, small_room, surface_number

BLUEPRINT = small_room()
DOMAIN = domain_of(BLUEPRINT)
BANDS = octave_bands()
TABLES = energy_tables(DOMAIN, surface_maps(DOMAIN.built, BANDS, 0.05, 0.03), in_target_band(BANDS, BLUEPRINT.target))


@given(st.floats(0.0, 3.0), st.floats(0.0, 1.5), st.floats(0.1, 1.0), st.floats(0.1, 1.0))
def test_energy_under_a_rectangle_is_that_of_its_cells(a0, b0, width, height) -> None:
    table = TABLES[surface_number(DOMAIN, "left wall")]
    edges = [
        np.maximum(0.0, np.minimum(hi, (i + 1) * GRID_M) - np.maximum(lo, i * GRID_M)) / GRID_M
        for lo, hi, n in ((a0, a0 + width, table.energy.shape[0]), (b0, b0 + height, table.energy.shape[1]))
        for i in [np.arange(n)]
    ]
    slow = edges[0] @ table.energy @ edges[1]
    quick = table.under(*(np.array(x) for x in (a0, b0, a0 + width, b0 + height)))
    assert np.isclose(quick, slow, rtol=1e-6, atol=1e-9)


def test_the_best_place_on_a_side_wall_covers_both_mirror_points() -> None:
    groups = candidate_groups(DOMAIN, TABLES)
    left = surface_number(DOMAIN, "left wall")
    upright = next(
        g for g in groups if g.spots[0].surface == left and g.spots[0].rectangle[3] - g.spots[0].rectangle[1] > 1.0
    )
    # points by the mirror formula: loudspeakers 0.9 and 2.1 off the wall, ear 1.5 off it, 0.9 and 2.0 deep
    own = 0.9 + 1.1 * 0.9 / (0.9 + 1.5)
    other = 0.9 + 1.1 * 2.1 / (2.1 + 1.5)
    a0, b0, a1, b1 = upright.spots[0].rectangle
    assert a0 < own < other < a1
    assert b0 < 1.2 < b1


def test_every_candidate_is_possible_and_there_once() -> None:
    groups = candidate_groups(DOMAIN, TABLES)
    keys = {frozenset((s.surface, s.rectangle, s.stock) for s in g.spots) for g in groups}
    assert len(keys) == len(groups)
    assert all(DOMAIN.rule_at(s.surface, s.stock, s.rectangle) == "fixed" for g in groups for s in g.spots)
    assert all(g.kind in ("pair", "centred") for g in groups)


def test_ragged_is_what_does_not_fill_a_rectangle() -> None:
    assert not is_ragged([(0.0, 0.0, 1.2, 0.6), (0.0, 0.6, 1.2, 1.2)])
    assert is_ragged([(0.0, 0.0, 1.2, 0.6), (0.1, 0.6, 1.3, 1.2)])
    assert is_ragged([(0.0, 0.0, 1.2, 0.6), (0.0, 0.65, 1.2, 1.25)])
    assert not is_ragged([(0.0, 0.0, 1.2, 0.6), (0.0, 2.0, 1.2, 2.6)])
    assert not is_ragged([(0.0, 0.0, 0.6, 1.2), (0.6, 0.0, 1.2, 0.6), (0.6, 0.6, 1.2, 1.2)])
