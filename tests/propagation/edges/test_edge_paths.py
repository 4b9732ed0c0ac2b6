"""Ways round edges in a whole built scene.

A desk in its room equals the bare plate, nothing jumps, any number of threads.
"""

from __future__ import annotations

import numpy as np
import pytest

from sim.placement.built_scene import BuiltScene
from sim.propagation.edges import chains, tracing
from sim.propagation.edges.plates import plate_total
from sim.propagation.edges.single import edge_gains
from sim.propagation.edges.table import edge_path_gains, edge_path_name, touched_surfaces
from sim.propagation.edges.tracing import FLOOR_DB, no_edge_paths, trace_edges
from sim.propagation.mirrors.image_sources import trace_paths
from sim.responses.frequency import ear_response
from tests.built_scenes import block, box, built_scene_of, desk, loudspeaker

SOURCE, EAR = (9.8, 9.5, 11.05), (11.05, 10.1, 11.2)
DESK = desk((10.0, 10.75), (9.2, 10.8), 10.74)


def anechoic(*furniture: dict[str, object], source: tuple[float, float, float] = SOURCE) -> BuiltScene:
    """A room whose walls take everything: only the furniture sends sound back."""
    return built_scene_of(box(20.0, 20.0, 20.0, "open"), [source], EAR, furniture=list(furniture))


def over_direct(built: BuiltScene, order: int = 2) -> tuple[np.ndarray, np.ndarray]:
    """Frequencies and total over direct at the ear."""
    response = ear_response(built, trace_paths(built, 1), trace_edges(built, order))
    return response.frequencies_hz, response.total[0, 0] / response.direct[0, 0]


@pytest.mark.parametrize("source", [SOURCE, (9.6, 9.7, 10.9), (10.2, 9.5, 10.95), (9.7, 9.6, 10.6)])
def test_a_desk_in_a_dead_room_is_the_bare_plate(source: tuple[float, float, float]) -> None:
    """Chains of three edges included, up to 8 kHz (air takes 0.02 dB at 2.8 kHz here, 0.1 dB at 8 kHz)."""
    frequencies, total = over_direct(anechoic(DESK, source=source))
    chosen = np.searchsorted(frequencies, [200, 315, 500, 800, 1250, 2000, 2800, 5600])
    middle = np.array([10.375, 10.0, 10.725])
    expected = plate_total(
        (1.6, 0.75, 0.03),
        source - middle,
        np.array(EAR) - middle,
        frequencies[chosen],
        stage_speed(),
        order=3,
    )
    np.testing.assert_allclose(total[chosen], expected, atol=0.03)


def stage_speed() -> float:
    return anechoic().air.speed_of_sound_m_s


def excess_step_db(totals: list[np.ndarray]) -> np.ndarray:
    """Step in dB over a border beyond that of its neighbours, for totals 1.5 and 0.5 mm before and after it."""
    steps = np.diff([20.0 * np.log10(np.abs(total)) for total in totals], axis=0)
    return np.abs(steps[1] - 0.5 * (steps[0] + steps[2]))


def test_nothing_jumps_as_the_mirror_point_slides_off_the_desk() -> None:
    """A millimetre of desk depth across the mirror point: under 0.05 dB at any frequency below 2.8 kHz."""
    drop, rise = SOURCE[2] - 10.74, EAR[2] - 10.74
    mirror = SOURCE[0] + (EAR[0] - SOURCE[0]) * drop / (drop + rise)
    diffracted, plain = [], []
    for step in (-0.0015, -0.0005, 0.0005, 0.0015):
        built = anechoic(desk((10.0, mirror + step), (9.2, 10.8), 10.74))
        frequencies, total = over_direct(built)
        chosen = (frequencies > 100.0) & (frequencies < 2800.0)
        diffracted.append(total[chosen])
        plain.append(ear_response(built, trace_paths(built, 1)).total[0, 0][chosen])
    assert excess_step_db(diffracted).max() < 0.05
    assert excess_step_db(plain).max() > 3.0  # without edges the same millimetre is worth several decibels


def test_nothing_jumps_as_a_desk_begins_to_shade_the_floor() -> None:
    """Floor, then the desk's edge: the mirrored leg from floor to ear passes the plate's underside edge by a hair."""
    room = box(20.0, 20.0, 20.0, {"all": "open", "floor": "hard"})
    source, ear = (9.8, 9.9, 1.1), (11.2, 10.1, 1.2)
    mirror = source[0] + (ear[0] - source[0]) * source[2] / (source[2] + ear[2])
    shade = mirror + (ear[0] - mirror) * 0.71 / ear[2]
    diffracted, plain = [], []
    for step in (-0.0015, -0.0005, 0.0005, 0.0015):
        built = built_scene_of(room, [source], ear, furniture=[desk((10.2, shade + step), (9.2, 10.8), 0.74)])
        frequencies, total = over_direct(built)
        chosen = (frequencies > 100.0) & (frequencies < 2800.0)
        diffracted.append(total[chosen])
        plain.append(ear_response(built, trace_paths(built, 1)).total[0, 0][chosen])
    assert excess_step_db(plain).max() > 1.0
    assert excess_step_db(diffracted).max() < 0.05


def test_gains_between_grid_points_are_those_of_the_edge_itself() -> None:
    built = anechoic(DESK)
    edge_paths = trace_edges(built, 1)
    wanted = np.array([123.0, 777.0, 1999.0, 3333.0, 5432.0])
    gains = edge_path_gains(built, edge_paths, wanted)
    own = built.room.owner_number(built.loudspeakers[0].body)
    found = edge_gains(built.room, np.array(SOURCE), np.array(EAR), own, wanted, built.air.speed_of_sound_m_s)
    direct = np.linalg.norm(np.subtract(EAR, SOURCE))
    for row in np.flatnonzero(edge_paths.edge >= 0):
        (same,) = np.flatnonzero(found.edges == edge_paths.edge[row])
        np.testing.assert_allclose(gains[row] * direct, found.gains[same] * direct, atol=0.004)


def test_the_result_does_not_depend_on_threads(monkeypatch: pytest.MonkeyPatch) -> None:
    built = built_scene_of(
        box(4.2, 3.4, 2.4),
        [(0.4, 1.1, 1.2), (0.4, 2.3, 1.2)],
        (1.6, 1.7, 1.2),
        furniture=[desk((0.55, 1.3), (0.9, 2.5), 0.74)],
    )
    tables = []
    for threads in (1, 2, 4):
        monkeypatch.setattr(tracing, "all_cores", lambda threads=threads: threads)
        tables.append(trace_edges(built))
    for table in tables[1:]:
        np.testing.assert_array_equal(table.gains, tables[0].gains)
        np.testing.assert_array_equal(table.edge, tables[0].edge)


def test_fewer_edges_in_turn_leave_the_others_as_they_are() -> None:
    built = anechoic(DESK)
    three, two, one = (trace_edges(built, 1, in_turn=most) for most in (3, 2, 1))
    single, in_turn = np.flatnonzero(three.edge >= 0), np.flatnonzero(three.edge < 0)
    assert np.array_equal(one.gains, three.gains[single])
    assert np.array_equal(two.gains[two.edge >= 0], three.gains[single])
    assert in_turn.size == (two.edge < 0).sum() == 1
    assert np.abs(two.gains[two.edge < 0] - three.gains[in_turn]).max() > 1e-3


@pytest.mark.parametrize("source", [SOURCE, (10.2, 9.5, 10.6)])
def test_three_edges_above_4_khz_are_next_to_nothing(
    source: tuple[float, float, float], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Lit 0.03 dB in any third-octave, in shadow, from under the desk, 0.1; as they are up to 4.4 kHz."""
    built = anechoic(DESK, source=source)
    few = trace_edges(built, 1)
    monkeypatch.setattr(chains, "THIRD_EDGE_TO_HZ", 11_300.0)
    all_of_them = trace_edges(built, 1)
    low = few.frequencies_hz <= 4400.0
    np.testing.assert_allclose(few.gains[:, low], all_of_them.gains[:, low], rtol=1e-3, atol=1e-6)
    paths = trace_paths(built, 1)
    levels = [ear_response(built, paths, table).levels.whole_db[0, 0, 0] for table in (few, all_of_them)]
    assert 0.0 < np.abs(levels[0] - levels[1]).max() < (0.03 if source is SOURCE else 0.1)


def test_names_say_body_edge_and_mirrors() -> None:
    built = built_scene_of(
        box(4.2, 3.4, 2.4), [(0.4, 1.1, 1.2)], (1.6, 1.7, 1.2), furniture=[desk((0.55, 1.3), (0.9, 2.5), 0.74)]
    )
    edge_paths = trace_edges(built)
    names = {" > ".join(edge_path_name(built, edge_paths, row)): row for row in range(len(edge_paths))}
    assert "desk, edge of top and listener side" in names
    assert "desk, edge to edge" in names
    with_ceiling = [name for name in names if name.endswith("> ceiling")]
    assert with_ceiling
    touched = touched_surfaces(built, edge_paths, names[with_ceiling[0]])
    assert "ceiling" in touched
    assert any(name.startswith("desk") for name in touched)


def test_what_is_left_out_is_counted_and_quiet() -> None:
    """A small block far away stays under the floor; it is counted, not listed."""
    built = anechoic(block((2.0, 2.02), (2.0, 2.02), (2.0, 2.02)))
    edge_paths = trace_edges(built)
    assert len(edge_paths) == 0
    assert edge_paths.left_out > 0
    own = built.room.owner_number(built.loudspeakers[0].body)
    all_edges = edge_gains(
        built.room, np.array(SOURCE), np.array(EAR), own, np.geomspace(100, 10_000, 50), built.air.speed_of_sound_m_s
    )
    direct = float(np.linalg.norm(np.subtract(EAR, SOURCE)))
    assert 20.0 * np.log10(np.abs(all_edges.gains).max() * direct) < FLOOR_DB


def test_an_empty_room_bends_nothing() -> None:
    built = built_scene_of(box(4.0, 3.0, 2.4), [(0.5, 1.0, 1.2)], (1.6, 1.5, 1.2))
    assert len(trace_edges(built)) == 0 == len(no_edge_paths())
    assert edge_path_gains(built, no_edge_paths(), np.array([100.0, 1000.0])).shape == (0, 2)


def test_a_chain_that_another_body_hides_is_left_out_as_far_as_it_is_hidden() -> None:
    """Two edges of the desk in turn: whole in the open, none from behind a wide screen, steady in between."""

    def chain(*furniture: dict[str, object]) -> np.ndarray:
        built = anechoic(DESK, *furniture, source=LOW)
        edge_paths = trace_edges(built, 1)
        rows = [
            row for row in range(len(edge_paths)) if edge_path_name(built, edge_paths, row)[0] == "desk, edge to edge"
        ]
        assert len(rows) <= 1
        return edge_paths.gains[rows].sum(axis=0)

    alone = chain()
    assert np.abs(chain(block((8.0, 8.1), (9.0, 11.0), (10.0, 11.5))) - alone).max() == 0.0
    assert np.abs(chain(block((9.8, 9.82), (8.0, 12.0), (10.0, 12.5), name="screen"))).max() == 0.0
    half = [chain(block((9.8, 9.82), (low, 12.0), (10.0, 12.5), name="screen")) for low in (9.7, 9.701)]
    assert 0.05 * np.abs(alone).max() < np.abs(half[0]).max() < np.abs(alone).max()
    assert np.abs(half[0] - half[1]).max() < 0.005 * np.abs(alone).max()


LOW = (9.7, 9.6, 10.6)


def test_edges_of_turned_boxes_are_seen_alike_left_and_right() -> None:
    """Mirror images must not differ.  Corners are kept to a micrometre, so an edge may lie behind its own faces.

    Two loudspeakers turned by 30 degrees toward the ear: each hears the other's box, also via the front wall.
    """
    pair = [
        loudspeaker((0.35, 1.7 + side * 0.719, 1.2), name, model="two-way", toe_in_deg="ear")
        for name, side in (("left", -1.0), ("right", 1.0))
    ]
    built = built_scene_of(box(4.2, 3.4, 2.4), pair, (1.596, 1.7, 1.2))
    edge_paths = trace_edges(built)
    energy = np.array([20.0 * np.log10(np.abs(gain[np.abs(gain).argmax()])) for gain in edge_paths.gains])
    left, right = (np.sort(energy[edge_paths.loudspeaker == s]) for s in (0, 1))
    assert len(left) == len(right) > 20
    np.testing.assert_allclose(left, right, atol=0.01)
    by_wall = {
        edge_path_name(built, edge_paths, row) for row in range(len(edge_paths.length_m)) if edge_paths.after[row] >= 0
    }
    assert {"left", "right"} <= {name[0].split()[0] for name in by_wall if "baffle" in name[0]}


def test_mirrored_edges_fade_over_the_third_below_8_khz_and_no_others() -> None:
    """Against the same way unfaded: cos-shaped in power of two, a half at the sixth of an octave, nothing above."""
    built = built_scene_of(box(20.0, 20.0, 20.0, {"walls": "open", "ceiling": "open"}), [SOURCE], EAR, furniture=[DESK])
    edge_paths = trace_edges(built, 2)
    floor = next(n for n, facet in enumerate(built.room.facets) if facet.name == "floor")
    hertz = np.array([5000.0, 6300.0, 7127.0, 7500.0, 7900.0, 8000.0, 9000.0])
    mirrored = [
        row for row in range(len(edge_paths)) if edge_paths.before[row] == floor or edge_paths.after[row] == floor
    ]
    plain = [row for row in range(len(edge_paths)) if max(edge_paths.before[row], edge_paths.after[row], -1) < 0]
    assert mirrored and plain
    grid = edge_paths.frequencies_hz
    for row in mirrored:
        assert np.abs(edge_paths.gains[row][grid >= 8000.0]).max() == 0.0
    assert any(np.abs(edge_paths.gains[row][grid > 8000.0]).max() > 0.0 for row in plain if edge_paths.edge[row] >= 0)
    source, ear = np.array(SOURCE), np.array(EAR)
    fraction = np.clip(3.0 * np.log2(8000.0 / hertz), 0.0, 1.0)
    expected = 0.5 - 0.5 * np.cos(np.pi * fraction)
    assert expected[2] == pytest.approx(0.5, abs=1e-3)
    at = np.array([int(np.argmin(np.abs(grid - frequency))) for frequency in hertz])
    expected = 0.5 - 0.5 * np.cos(np.pi * np.clip(3.0 * np.log2(8000.0 / grid[at]), 0.0, 1.0))
    row = max(mirrored, key=lambda each: float(np.abs(edge_paths.gains[each]).max()))
    one, other = int(edge_paths.before[row]), int(edge_paths.after[row])
    found = edge_gains(
        built.room,
        source,
        ear,
        -2,
        grid[at],
        stage_speed(),
        before=(one,) if one >= 0 else (),
        after=(other,) if other >= 0 else (),
        edges=np.array([edge_paths.edge[row]]),
    )
    unfaded = np.abs(found.gains[0])
    np.testing.assert_allclose(np.abs(edge_paths.gains[row][at]), unfaded * expected, rtol=2e-3, atol=1e-6)
