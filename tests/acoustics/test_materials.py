import math
from typing import cast

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.acoustics.bands import octave_bands
from sim.acoustics.materials import (
    FLAT_SCATTERING,
    Material,
    _rows,
    eight_octaves,
    everyday_names,
    find_material,
    library,
    library_name,
    reflection_factor,
)

OCTAVES = octave_bands(63, 8000).exact_hz
coefficients = st.lists(st.floats(0.0, 1.3), min_size=8, max_size=8)


def reflection_written_out(absorption: list[float], frequency_hz: float) -> float:
    if all(value == 1.0 for value in absorption):
        return 0.0
    cut = [min(value, 0.99) for value in absorption]
    middles = [1000.0 * 10.0 ** (0.3 * k) for k in range(-4, 4)]
    if frequency_hz <= middles[0]:
        return math.sqrt(1.0 - cut[0])
    for low in range(7):
        if frequency_hz <= middles[low + 1]:
            fraction = math.log(frequency_hz / middles[low]) / math.log(middles[low + 1] / middles[low])
            return math.sqrt(1.0 - (cut[low] + fraction * (cut[low + 1] - cut[low])))
    return math.sqrt(1.0 - cut[-1])


def test_every_material_names_its_source_and_has_eight_octaves() -> None:
    for name, material in library().items():
        assert name == name.lower() == material.name
        assert len(material.absorption) == 8
        assert material.source


def test_published_rows() -> None:
    # Barron, Industrial Noise Control and Acoustics (2003), Appendix D.
    assert library()["brick"].absorption[1:7] == (0.03, 0.03, 0.03, 0.04, 0.05, 0.07)
    assert library()["wooden door"].absorption[1:7] == (0.10, 0.07, 0.05, 0.04, 0.04, 0.04)
    # Cox & D'Antonio, Acoustic Absorbers and Diffusers, Appendix A.
    assert library()["carpet on concrete"].absorption[1:7] == (0.02, 0.06, 0.14, 0.37, 0.60, 0.65)
    assert library()["carpet on felt"].absorption[1:7] == (0.08, 0.24, 0.57, 0.69, 0.71, 0.73)


def test_ends_that_are_held_say_so() -> None:
    brick = library()["brick"]
    assert brick.absorption[0] == brick.absorption[1]
    assert brick.absorption[7] == brick.absorption[6]
    assert "held" in brick.note
    assert "held" not in library()["rigid"].note


def test_borrowed_and_estimated_values_are_marked() -> None:
    assert "Borrowed" in library()["mdf or veneered board"].note
    assert "Estimate" in library()["upholstered seat"].note


@pytest.mark.parametrize(
    ("british", "american"),
    [
        ("plasterboard", "drywall"),
        ("plasterboard", "gypsum board"),
        ("chipboard", "particle board"),
        ("breeze block", "cinder block"),
        ("fibreglass board", "fiberglass board"),
        ("curtains", "drapes"),
        ("floorboards", "hardwood floor"),
        ("carpet on underlay", "carpet on pad"),
        ("fitted carpet", "wall-to-wall carpet"),
        ("timber panelling", "wood paneling"),
    ],
)
def test_both_englishes_mean_the_same_row(british: str, american: str) -> None:
    # What things are called on either side of the Atlantic: common practice, no source.
    assert find_material(british) is find_material(american)
    assert british in everyday_names() and american in everyday_names()


def test_everyday_names_are_plain_and_never_hide_a_row() -> None:
    called = [name for row in _rows().values() for name in cast("list[str]", row.get("called", []))]
    assert len(called) == len(set(called))
    for name in called:
        assert name == " ".join(name.lower().split()) and name not in library()
        assert library_name(f"  {name.upper()} ") == everyday_names()[name]


def test_an_unknown_name_gets_everyday_ones_offered() -> None:
    with pytest.raises(KeyError, match="'chipboard'"):
        find_material("chipbord")


def test_names_are_found_in_any_case() -> None:
    assert find_material("  Window  GLASS ") is library()["window glass"]


def test_an_unknown_name_gets_suggestions() -> None:
    with pytest.raises(KeyError, match="plasterboard on studs"):
        find_material("plasterboard on stud")
    with pytest.raises(KeyError, match="heavy glass"):
        find_material("glas heavy")
    with pytest.raises(KeyError, match="the library has"):
        find_material("zzz")


def test_rigid_and_open() -> None:
    frequencies = np.geomspace(20.0, 20000.0, 50)
    assert np.all(reflection_factor(library()["rigid"].absorption, frequencies) == 1.0)
    assert np.all(reflection_factor(library()["open"].absorption, frequencies) == 0.0)


def test_lab_values_near_one_keep_minus_20_db() -> None:
    row = [0.2, 0.9, 0.99, 1.0, 1.0, 1.24, 1.0, 1.0]
    factor = reflection_factor(row, OCTAVES)
    assert factor[3:] == pytest.approx(0.1)
    assert factor[0] == pytest.approx(math.sqrt(0.8))


def test_octave_middles_give_the_printed_value_and_ends_are_held() -> None:
    row = library()["window glass"].absorption
    assert reflection_factor(row, OCTAVES) == pytest.approx(np.sqrt(1.0 - np.array(row)), rel=1e-12)
    assert reflection_factor(row, [0.0, 1.0]) == pytest.approx(math.sqrt(1.0 - row[0]))
    assert reflection_factor(row, [20000.0]) == pytest.approx(math.sqrt(1.0 - row[-1]))


@given(absorption=coefficients, frequency=st.floats(1.0, 30000.0))
def test_reflection_agrees_with_a_plain_loop(absorption: list[float], frequency: float) -> None:
    expected = reflection_written_out(absorption, frequency)
    assert reflection_factor(absorption, [frequency]) == pytest.approx(expected, abs=1e-7)


def test_many_surfaces_at_once() -> None:
    rows = np.array([material.absorption for material in library().values()]).reshape(1, -1, 8)
    factors = reflection_factor(rows, OCTAVES[:3])
    assert factors.shape == (1, len(library()), 3)
    assert factors[0, 4] == pytest.approx(reflection_factor(rows[0, 4], OCTAVES[:3]))


def test_rows_of_the_wrong_length_are_refused() -> None:
    with pytest.raises(ValueError, match="8 octaves"):
        reflection_factor([0.1] * 6, [1000.0])
    with pytest.raises(ValueError, match="8 are needed"):
        Material("short", (0.1,) * 6, "demo")
    with pytest.raises(ValueError, match="below zero"):
        Material("odd", (-0.1,) * 8, "demo")
    with pytest.raises(ValueError, match="give 6"):
        eight_octaves((0.1,) * 7)
    assert eight_octaves((1.0, 2.0, 3.0, 4.0, 5.0, 6.0)) == (1.0, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 6.0)


def test_every_material_scatters_a_share_and_says_where_it_is_from() -> None:
    """ISO 17497-1:2004 defines the coefficient as a share, 0 to 1; none of the library's is a measured one."""
    for material in library().values():
        assert len(material.scattering) == 8
        assert min(material.scattering) > 0.0 and max(material.scattering) <= 1.0
        assert "ommon practice, no source" in material.scattering_source
    assert library()["concrete"].scattering == (FLAT_SCATTERING,) * 8
    assert library()["upholstered seat"].scattering[4] == 0.4
    with pytest.raises(ValueError, match="8 scattering coefficients from 0"):
        Material("odd", (0.1,) * 8, "demo", scattering=(1.1,) * 8)
