from __future__ import annotations

import base64
import zlib

import numpy as np
import pytest

from sim.showing.scene_data import cell_of_point, hotspot_data
from tests.studies.report.report_cases import den


def test_every_cell_comes_back_in_its_octave_for_its_loudspeaker() -> None:
    results = den()
    reported = hotspot_data(results)
    whole = np.frombuffer(zlib.decompress(base64.b64decode(reported["levels"])), np.uint8)
    nominal = results.responses.bands.nominal_hz.tolist()
    layers = 1 + len(results.built.loudspeakers)
    for surface_map, place in zip(results.responses.maps, reported["maps"], strict=True):
        rows, cells = place["shape"]
        size = rows * cells
        for octave, hz in enumerate(reported["bands"]):
            for layer in range(layers):
                start = place["at"] + (octave * layers + layer) * size
                read = whole[start : start + size].reshape(rows, cells)[tuple(surface_map.cell.T)]
                wanted = (surface_map.both_db if layer == 0 else surface_map.level_db[layer - 1])[nominal.index(hz)]
                heard = wanted > -59.8
                np.testing.assert_allclose(read[heard] / 4.0 - 60.0, np.minimum(wanted[heard], 3.75), atol=0.126)
                assert (read[wanted < -60.2] == 0).all()
    assert len(whole) == sum(m["shape"][0] * m["shape"][1] for m in reported["maps"]) * layers * len(reported["bands"])


def test_points_find_their_cell() -> None:
    for surface_map in den().responses.maps:
        matrix = cell_of_point(surface_map)
        found = np.column_stack([surface_map.points, np.ones(len(surface_map.points))]) @ matrix.T
        np.testing.assert_allclose(found, surface_map.cell, atol=1e-6)
        half = surface_map.points[0] + 0.5 * (surface_map.points[-1] - surface_map.points[0])
        middle = 0.5 * (surface_map.cell[0] + surface_map.cell[-1])
        np.testing.assert_allclose(matrix @ [*half, 1.0], middle, atol=1e-6)


def test_octaves_say_whether_they_are_judged_and_wanted() -> None:
    results = den()
    reported = hotspot_data(results)
    edge = results.responses.transition_hz
    assert reported["judged"] == [hz >= edge for hz in reported["bands"]]
    assert reported["wanted"] == [1000.0 <= hz <= 8000.0 for hz in reported["bands"]]
    assert reported["bands"][reported["band"]] == pytest.approx(2000.0)
