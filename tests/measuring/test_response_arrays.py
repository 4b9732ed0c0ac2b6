"""Impulse responses of rooms from AES69 files that another library wrote."""

from __future__ import annotations

from pathlib import Path

import netCDF4
import numpy as np
import pytest

from sim.errors import SceneError
from sim.loudspeakers.sofa_contents import SofaContents, Variable
from sim.measuring.response_files import read_responses
from tests.loudspeakers.sofa_writing import write_sofa

HERE = np.array([[0.0, 0.0, 0.0]])
STRAIGHT = {"position_type": "cartesian", "position_units": "metre"}


def room(*places: int, count: int = 2000) -> np.ndarray:
    """Responses (m, 1, n), one for each place of its direct sound."""
    found = np.zeros((len(places), 1, count))
    for row, place in enumerate(places):
        found[row, 0, place] = 1.0
        found[row, 0, place + 200] = -0.4
    return found


@pytest.mark.parametrize("convention", ["SingleRoomSRIR", "GeneralFIR", "SingleRoomDRIR"])
def test_each_measurement_is_a_response(convention: str, tmp_path: Path) -> None:
    path = write_sofa(
        tmp_path / "room.sofa", HERE, convention=convention, responses=room(300, 340), sampling_rate_hz=96e3, **STRAIGHT
    )
    found = read_responses(path)
    assert [one.name for one in found] == ["room.sofa, response 1", "room.sofa, response 2"]
    assert [one.rate_hz for one in found] == [96_000, 96_000]
    assert [int(np.argmax(one.samples[0])) for one in found] == [300, 340]


def test_emitters_are_responses_too(tmp_path: Path) -> None:
    """FIR-E: the axes of Data.IR are measurement, receiver, sample, emitter (AES69-2022)."""
    path = tmp_path / "room.sofa"
    write_sofa(path, HERE, convention="SingleRoomMIMOSRIR", responses=room(300), leave_out=("Data.IR",), **STRAIGHT)
    with netCDF4.Dataset(path, "a") as file:
        file.createDimension("EE", 2)
        data = np.stack([room(300)[0], room(350)[0]], axis=-1)[None]
        file.createVariable("Data.IR", "f8", ("M", "R", "N", "EE"))[:] = data
    assert [int(np.argmax(one.samples[0])) for one in read_responses(path)] == [300, 350]


def test_one_response_keeps_the_name_of_its_file(tmp_path: Path) -> None:
    path = write_sofa(tmp_path / "left.sofa", HERE, convention="SingleRoomSRIR", responses=room(300), **STRAIGHT)
    assert [one.name for one in read_responses(path)] == ["left.sofa"]


def contents(convention: str, responses: np.ndarray, rate_hz: float) -> SofaContents:
    """What the process that reads a file hands over."""
    rate = Variable(np.array([rate_hz]), {"Units": "hertz"})
    return SofaContents(
        {"SOFAConventions": convention}, {"Data.IR": Variable(responses, {}), "Data.SamplingRate": rate}
    )


@pytest.mark.parametrize(
    ("convention", "responses", "rate_hz", "said"),
    [
        ("SimpleFreeFieldHRIR", room(300), 48e3, 'its convention is "SimpleFreeFieldHRIR"; give one of SingleRoomSRIR'),
        ("SingleRoomSRIR", np.repeat(room(300), 2, axis=1), 48e3, "it has 2 microphones"),
        ("SingleRoomSRIR", room(*range(300, 320)), 48e3, "it holds 20 responses"),
        ("SingleRoomSRIR", 0.0 * room(300), 48e3, "it is silent"),
        ("SingleRoomSRIR", np.ones((1, 1, 48_000)), 48e3, "it is no impulse response"),
        ("SingleRoomSRIR", room(300)[:, :, 300:301], 48e3, "its responses hold one sample"),
        ("SingleRoomSRIR", np.full((1, 1, 500), np.nan), 48e3, "numbers that are not finite"),
        ("SingleRoomSRIR", room(300)[0], 48e3, r"its Data.IR has the shape \(1, 2000\)"),
        ("SingleRoomSRIR", room(300), 48.0, "its sampling rate is 48 hertz"),
        ("SingleRoomSRIR", np.zeros((1, 1, 200_000)), 1e3, "its responses are longer than 180 s"),
    ],
)
def test_what_is_no_room_is_told(
    convention: str, responses: np.ndarray, rate_hz: float, said: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(
        "sim.measuring.response_arrays.read_contents", lambda _: contents(convention, responses, rate_hz)
    )
    with pytest.raises(SceneError, match=said) as complaint:
        read_responses(Path("room.sofa"))
    assert str(complaint.value).startswith("room.sofa")


def test_what_is_no_aes69_file_is_told(tmp_path: Path) -> None:
    (tmp_path / "words.sofa").write_text("nothing")
    with pytest.raises(SceneError, match="it is not an AES69"):
        read_responses(tmp_path / "words.sofa")
    with pytest.raises(SceneError, match="there is no such file"):
        read_responses(tmp_path / "missing.sofa")
