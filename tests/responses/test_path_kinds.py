"""A further kind of path beside direct, mirrored and edge: the list of arrivals takes it as it comes."""

from __future__ import annotations

import numpy as np
import pytest

from sim.acoustics.bands import octave_bands
from sim.arrays import ComplexArray, FloatArray
from sim.blueprint.treatment import Target
from sim.propagation.mirrors.image_sources import trace_paths
from sim.responses.arrivals import list_arrivals
from sim.responses.path_kinds import SpecularPaths
from tests.built_scenes import box, built_scene_of, loudspeaker


class Halved(SpecularPaths):
    """An invented method of propagation: half the pressure of a mirror."""

    def kind(self, row: int) -> str:
        return "halved"

    def gains(self, frequencies_hz: FloatArray) -> ComplexArray:
        return 0.5 * super().gains(frequencies_hz)


def test_a_further_kind_is_listed_and_ranked_beside_the_others() -> None:
    built = built_scene_of(box(5.0, 4.0, 2.6), [loudspeaker((1.0, 1.2, 1.1), model="two-way")], (2.4, 1.5, 1.2))
    paths = trace_paths(built, 1)
    reflected = paths.chosen(np.flatnonzero(paths.order > 0))
    listed = list_arrivals(built, paths, octave_bands(), Target(), Halved(built, reflected))
    halved = {a.surfaces: a for a in listed if a.kind == "halved"}
    mirrored = {a.surfaces: a for a in listed if a.kind == "mirrored"}
    assert set(halved) == set(mirrored) and len(halved) == 6
    for surfaces, arrival in halved.items():  # half the pressure is 20 log10(2) = 6.02 dB less, at the same time
        twin = mirrored[surfaces]
        assert arrival.level_db == pytest.approx(twin.level_db - 20.0 * np.log10(2.0), abs=1e-9)
        assert arrival.main.delay_ms == twin.main.delay_ms
        assert arrival.main.arrival_azimuth_deg == twin.main.arrival_azimuth_deg
    assert [a.number for a in listed] == list(range(13))
