"""Heads from AES69 files that another library wrote: sides, directions, delays, and what is no head."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from sim.errors import SceneError
from sim.measuring.head_files import HeadResponses, read_head_file
from tests.loudspeakers.sofa_writing import sphere_grid, write_sofa

EARS = np.array([[0.0, 0.09, 0.0], [0.0, -0.09, 0.0]])
STRAIGHT = {"position_type": "cartesian", "position_units": "metre"}
GRID = sphere_grid(30.0)


def write_head(path: Path, ears: np.ndarray = EARS, grid: np.ndarray = GRID, **more: object) -> Path:
    """An invented head: the ear that a source is nearer to hears it sooner (in Data.Delay) and louder."""
    side = np.sin(np.radians(grid[:, 0])) * np.cos(np.radians(grid[:, 1]))
    responses = np.zeros((len(grid), 2, 32))
    for number, ear in enumerate(ears):
        responses[:, number, 8] = 1.0 + 0.5 * np.sign(ear[1]) * side
    delays = 10.0 - 10.0 * side[:, None] * np.sign(ears[:, 1])
    source = np.column_stack([grid, np.full(len(grid), 1.5)])
    given = {"convention": "SimpleFreeFieldHRIR", "responses": responses, "delays": delays, "source": source}
    return write_sofa(path, ears, **{**STRAIGHT, **given, **more})


@pytest.fixture(scope="module")
def head(tmp_path_factory: pytest.TempPathFactory) -> HeadResponses:
    return read_head_file(write_head(tmp_path_factory.mktemp("head") / "head.sofa"))


def test_azimuth_is_counted_to_the_left(head: HeadResponses) -> None:
    """AES69: x to the front, y to the left, z up; azimuth counter-clockwise from the front."""
    left = int(np.flatnonzero((GRID == (90.0, 0.0)).all(axis=1))[0])
    numbers, off = head.nearest(np.array([[0.0, 1.0, 0.0], [0.05, 1.0, 0.0] / np.linalg.norm([0.05, 1.0])]))
    assert numbers.tolist() == [left, left]
    assert off == pytest.approx([0.0, np.degrees(np.arctan(0.05))], abs=1e-5)
    assert head.responses[left, :, 8].tolist() == [1.5, 0.5]
    assert head.delays[left].tolist() == [0.0, 20.0]


def test_ears_in_the_other_order_are_told_by_their_places(head: HeadResponses, tmp_path: Path) -> None:
    other = read_head_file(write_head(tmp_path / "other.sofa", EARS[::-1]))
    assert np.array_equal(other.responses, head.responses)
    assert np.array_equal(other.delays, head.delays)


def test_transfer_functions_keep_delays_and_drop_what_all_have(head: HeadResponses) -> None:
    hz = np.array([100.0, 1000.0, 9000.0, 30_000.0])
    left = head.nearest(np.array([[0.0, 1.0, 0.0]]))[0]
    found = head.spectra(left, hz)
    assert found.shape == (1, 2, 4)
    assert np.abs(found[0, :, 3]).max() == 0.0  # above half the rate
    assert found[0, 0, :3] == pytest.approx(np.full(3, 1.5), abs=1e-6)
    assert found[0, 1, :3] == pytest.approx(0.5 * np.exp(-2j * np.pi * hz[:3] * 20.0 / 48_000.0), abs=1e-6)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"convention": "FreeFieldDirectivityFIR"}, 'its convention is "FreeFieldDirectivityFIR"'),
        ({"responses": np.ones((len(GRID), 1, 32)), "delays": np.zeros((1, 1))}, "it has 1 receiver, and a head two"),
        ({"responses": np.ones((len(GRID), 2, 4800)), "delays": None}, "its responses last 100 ms, and so hold a room"),
        ({"responses": np.zeros((len(GRID), 2, 32))}, "some of its responses are silent"),
        ({"leave_out": ("SourcePosition",)}, "its SourcePosition is zero; write where it points"),
        ({"leave_out": ("Data.IR",)}, "it has no Data.IR"),
        ({"sampling_rate_hz": 48.0}, "its sampling rate is 48 hertz"),
    ],
)
def test_what_is_no_head_is_told(change: dict[str, object], said: str, tmp_path: Path) -> None:
    responses = change.get("responses")
    ears = EARS[:1] if isinstance(responses, np.ndarray) and responses.shape[1] == 1 else EARS
    if len(ears) == 1:
        source = np.column_stack([GRID, np.ones(len(GRID))])
        given = {"convention": "SimpleFreeFieldHRIR", "source": source}
        path = write_sofa(tmp_path / "head.sofa", ears, **STRAIGHT, **given, **change)  # type: ignore[arg-type]
    else:
        path = write_head(tmp_path / "head.sofa", **change)
    with pytest.raises(SceneError, match=said) as complaint:
        read_head_file(path)
    assert str(complaint.value).startswith("head.sofa: ")


def test_ears_in_the_middle_and_files_of_other_kinds(tmp_path: Path) -> None:
    with pytest.raises(SceneError, match="does not tell left from right"):
        read_head_file(write_head(tmp_path / "middle.sofa", np.zeros((2, 3)), delays=np.zeros((1, 2))))
    few = write_head(tmp_path / "few.sofa", grid=GRID[:4])
    with pytest.raises(SceneError, match="it has 4 directions"):
        read_head_file(few)
    (tmp_path / "words.sofa").write_text("no sound")
    with pytest.raises(SceneError, match="it is not an AES69"):
        read_head_file(tmp_path / "words.sofa")
    with pytest.raises(SceneError, match="it cannot be read"):
        read_head_file(tmp_path / "missing.sofa")
