"""Impulse responses of box rooms by the lattice of images in plain NumPy, for measurements whose truth is known.

Images of a point in a box lie on a lattice (Allen and Berkley, J. Acoust. Soc. Am. 65 (1979) 943-950); each is as loud
as the walls between leave it, over its distance.  Nothing here knows the program: no tracing, no scene, no curve.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

SPEED_M_S = 343.2
WALLS = ("front wall", "rear wall", "left wall", "right wall", "floor", "ceiling")


@dataclass(frozen=True)
class Image:
    """One image of the source: walls it was mirrored in, how far, how loud re 1 at 1 m."""

    walls: tuple[str, ...]
    length_m: float
    gain: float


def images(
    size: np.ndarray, source: np.ndarray, ear: np.ndarray, factor: dict[str, float], furthest_m: float
) -> list[Image]:
    """Images of a box (depth, width, height) nearer than `furthest_m`; `factor` is each wall's reflection factor."""
    reach = [int(np.ceil(furthest_m / (2.0 * side))) + 1 for side in size]
    found = []
    for flips in np.ndindex(2, 2, 2):
        for cell in np.ndindex(*(2 * r + 1 for r in reach)):
            n = np.array(cell) - reach
            place = 2.0 * n * size + np.where(np.array(flips) == 1, -source, source)
            length = float(np.linalg.norm(place - ear))
            if length > furthest_m:
                continue
            gain, walls = 1.0 / length, []
            for axis in range(3):
                near, far = WALLS[2 * axis], WALLS[2 * axis + 1]
                met_near, met_far = abs(n[axis] - flips[axis]), abs(n[axis])
                gain *= factor[near] ** met_near * factor[far] ** met_far
                walls += [near] * int(met_near) + [far] * int(met_far)
            found.append(Image(tuple(walls), length, float(gain)))
    return sorted(found, key=lambda one: one.length_m)


def response(
    arrivals: list[tuple[float, float]], rate_hz: int, seconds: float, low_hz: float = 30.0, start_s: float = 0.0
) -> np.ndarray:
    """Impulse response (n,) of arrivals (length in m, gain), each a pulse from `low_hz` to 0.46 of the rate."""
    count = round(seconds * rate_hz)
    hz = np.fft.rfftfreq(count, 1.0 / rate_hz)
    shape = 1.0 / np.sqrt(1.0 + (low_hz / np.maximum(hz, 1e-3)) ** 4)
    shape *= np.cos(0.5 * np.pi * np.clip((hz / rate_hz - 0.42) / 0.06, 0.0, 1.0)) ** 2
    spectrum = np.zeros(len(hz), dtype=complex)
    for length, gain in arrivals:
        spectrum += gain * np.exp(-2j * np.pi * hz * (start_s + length / SPEED_M_S))
    return np.fft.irfft(spectrum * shape, count)
