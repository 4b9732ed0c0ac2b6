"""A patch on a wall the slow way: cells of admittance in a rigid plane, every cell acting on every other.

    p(x) + 2jk integral of beta(x') g(x - x') p(x') = 2 e_s(x),   g = e^{-jkd}/(4 pi d),  e = e^{-jkr}/r
    R = 1 - jk/(2 pi) L e^{jkL} integral of beta e_e p

(Helmholtz integral equation of the half space; Morse & Ingard, Theoretical Acoustics.)  Shares nothing with `sim`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

SPEED = 343.2


@dataclass(frozen=True)
class Wall:
    """A source and an ear above the plane z = 0, each (3,) in m."""

    source: np.ndarray
    ear: np.ndarray

    @property
    def whole_m(self) -> float:
        return float(np.linalg.norm(self.source * [1.0, 1.0, -1.0] - self.ear))

    @property
    def point(self) -> np.ndarray:
        part = self.source[2] / (self.source[2] + self.ear[2])
        return (self.source + part * (self.ear - self.source)) * [1.0, 1.0, 0.0]

    @property
    def cosine(self) -> float:
        return float((self.source[2] + self.ear[2]) / self.whole_m)


def cells_of(spans: tuple[float, float, float, float], largest_m: float) -> tuple[np.ndarray, np.ndarray]:
    """Middles (n, 2) and both sides (2,) of cells of a rectangle x0, x1, y0, y1."""
    x0, x1, y0, y1 = spans
    first, second = (int(np.ceil(length / largest_m)) for length in (x1 - x0, y1 - y0))
    sides = np.array([(x1 - x0) / first, (y1 - y0) / second])
    x, y = np.meshgrid(x0 + (np.arange(first) + 0.5) * sides[0], y0 + (np.arange(second) + 0.5) * sides[1])
    return np.column_stack([x.ravel(), y.ravel()]), sides


def green(middles: np.ndarray, sides: np.ndarray, wavenumber: float) -> np.ndarray:
    """Integral of g over each cell as seen from the middle of each (n, n)."""
    distance = np.linalg.norm(middles[:, None] - middles[None], axis=2)
    np.fill_diagonal(distance, 1.0)
    table = np.exp(-1j * wavenumber * distance) / (4.0 * np.pi * distance) * sides.prod()
    a, b = 0.5 * sides
    own = 4.0 * (a * np.arcsinh(b / a) + b * np.arcsinh(a / b)) - 1j * wavenumber * sides.prod()
    np.fill_diagonal(table, own / (4.0 * np.pi))
    return table


def waves(wall: Wall, middles: np.ndarray, wavenumber: float) -> tuple[np.ndarray, np.ndarray]:
    """e_s and e_e at the cells, each (n,)."""
    places = np.column_stack([middles, np.zeros(len(middles))])
    far = [np.linalg.norm(places - end, axis=1) for end in (wall.source, wall.ear)]
    return np.exp(-1j * wavenumber * far[0]) / far[0], np.exp(-1j * wavenumber * far[1]) / far[1]


def solved(
    wall: Wall, middles: np.ndarray, sides: np.ndarray, admittance: np.ndarray | complex, frequency_hz: float
) -> complex:
    """R of cells with an admittance each, re the rigid plane."""
    k = 2.0 * np.pi * frequency_hz / SPEED
    beta = np.broadcast_to(np.asarray(admittance, dtype=np.complex128), len(middles))
    source, ear = waves(wall, middles, k)
    pressure = np.linalg.solve(np.eye(len(middles)) + 2j * k * green(middles, sides, k) * beta, 2.0 * source)
    before = 1j * k / (2.0 * np.pi) * wall.whole_m * np.exp(1j * k * wall.whole_m)
    return complex(1.0 - before * (beta * ear * pressure).sum() * sides.prod())


def first_iterate(
    wall: Wall, spans: tuple[float, float, float, float], frequency_hz: float, cells_a_wavelength: float = 8.0
) -> tuple[complex, complex]:
    """b0 and Z of the variational patch, by sums over all pairs of cells."""
    k = 2.0 * np.pi * frequency_hz / SPEED
    middles, sides = cells_of(spans, min(SPEED / frequency_hz / cells_a_wavelength, 0.06))
    source, ear = waves(wall, middles, k)
    plain = (source * ear).sum() * sides.prod()
    double = ear @ green(middles, sides, k) @ source * sides.prod()
    b0 = -1j * k / np.pi * wall.whole_m * np.exp(1j * k * wall.whole_m) * plain
    return complex(b0), complex(2j * k * double / plain)


def wool_admittance(frequency_hz: float, depth_m: float) -> complex:
    """Specific admittance of wool of 12 000 Pa s/m2 on a rigid wall, by Miki, J. Acoust. Soc. Jpn (E) 11 (1990) 19."""
    scaled = frequency_hz / 12_000.0
    impedance = 1.0 + 0.0699 * scaled**-0.632 - 0.107j * scaled**-0.632
    wave = 2.0 * np.pi * frequency_hz / SPEED * (1.0 + 0.109 * scaled**-0.618 - 0.160j * scaled**-0.618)
    return complex(1.0 / (-1j * impedance / np.tan(wave * depth_m)))
