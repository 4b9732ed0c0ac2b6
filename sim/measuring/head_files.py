"""Head-related impulse responses from an AES69 file that a person brings: what each ear hears of each direction."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np

from sim.answers import printable
from sim.arrays import ComplexArray, FloatArray, IntArray, frozen
from sim.errors import SceneError
from sim.loudspeakers.sofa_contents import SofaContents, ear_numbers, read_contents, ways_to_sources
from sim.measuring.response_arrays import ResponseArrays, response_arrays

LONGEST_MS: Final = 40.0
"""What a head does lasts a few milliseconds; longer responses were measured in a room."""
FEWEST: Final = 6
_ONSET: Final = 0.1


@printable
@dataclass(frozen=True, slots=True)
class HeadResponses:
    """What both ears of a head hear of sound from many directions, in a free field.

    Attributes
    ----------
    name
        Of the file.
    rate_hz
        Sampling rate in Hz.
    toward
        (m, 3) unit vectors from the head to the source: front, left, up.
    responses
        (m, 2, n) of the left ear and of the right.
    delays
        (m, 2) samples by which each begins later.
    """

    name: str
    rate_hz: float
    toward: FloatArray
    responses: FloatArray
    delays: FloatArray

    def nearest(self, toward: FloatArray) -> tuple[IntArray, FloatArray]:
        """Number (k,) of the measured direction nearest to each of (k, 3), and how far off that is in degrees."""
        alike = toward @ self.toward.T
        numbers = np.argmax(alike, axis=1)
        return numbers, np.degrees(np.arccos(np.clip(alike[np.arange(len(numbers)), numbers], -1.0, 1.0)))

    def spectra(self, numbers: IntArray, frequencies_hz: FloatArray) -> ComplexArray:
        """Transfer functions (k, 2, f) of some directions, the time that all of the file have in common taken off."""
        places = np.arange(self.responses.shape[2])
        turned = np.exp(-2j * np.pi * np.outer(places, frequencies_hz / self.rate_hz))
        late = self.delays[numbers] - self._onset()
        found = (self.responses[numbers] @ turned) * np.exp(
            -2j * np.pi * late[..., None] * (frequencies_hz / self.rate_hz)
        )
        return np.asarray(found * (frequencies_hz < 0.5 * self.rate_hz))

    def _onset(self) -> float:
        """Samples after which the first of all responses begins."""
        size = np.abs(self.responses)
        return float((np.argmax(size >= _ONSET * size.max(axis=2, keepdims=True), axis=2) + self.delays).min())


def read_head_file(path: Path) -> HeadResponses:
    """Read head-related impulse responses from an AES69 file (SimpleFreeFieldHRIR, or GeneralFIR of two receivers).

    Raises
    ------
    SceneError
        If it is none, has not two ears, or too few directions.
    """
    try:
        return _head(read_contents(path), path.name)
    except OSError as fault:
        said = fault.strerror or "no such file"
        raise SceneError(path.name, f"it cannot be read ({said})", "check its name, and who may read it") from None
    except KeyError as fault:
        raise SceneError(path.name, f"it has no {fault.args[0]}", "write it as AES69-2022 asks") from None
    except ValueError as fault:
        found, _, remedy = str(fault).partition("; ")
        raise SceneError(path.name, found, remedy or "give a SimpleFreeFieldHRIR file") from None


def _head(file: SofaContents, name: str) -> HeadResponses:
    arrays: ResponseArrays = response_arrays(file, ("SimpleFreeFieldHRIR", "GeneralFIR"))
    measurements, receivers, emitters, count = arrays.responses.shape
    if receivers != 2 or emitters != 1:
        raise ValueError(
            f"it has {receivers} receiver{'s' * (receivers != 1)}, and a head two ears; give a SimpleFreeFieldHRIR file"
        )
    if 1000.0 * count / arrays.rate_hz > LONGEST_MS:
        raise ValueError(
            f"its responses last {1000.0 * count / arrays.rate_hz:.0f} ms, and so hold a room; give responses of a free"
            f" field, {LONGEST_MS:g} ms at most"
        )
    if measurements < FEWEST:
        raise ValueError(f"it has {measurements} directions; give a file with directions all round")
    if not (np.abs(arrays.responses).max(axis=(2, 3)) > 0.0).all():
        raise ValueError("some of its responses are silent; export it again")
    ears = ear_numbers(file, measurements)
    return HeadResponses(
        name,
        arrays.rate_hz,
        frozen(ways_to_sources(file, measurements)),
        frozen(arrays.responses[:, ears, 0].copy()),
        frozen(arrays.delays[:, ears, 0].copy()),
    )
