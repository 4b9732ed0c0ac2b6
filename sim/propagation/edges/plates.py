"""A bare rigid plate (or any convex body) in free space: total pressure over direct pressure.

Direct and mirrored sound as far as they are seen, and diffraction at one, two and three edges.  Every edge of the
plate is a wedge of its true angle, the edges of its rim as well: what a thin rim does differently from a knife edge is
the sound that goes round two edges across the rim.  `docs/explanation/edges.md` holds the measured errors.

Neglected: chains of four edges and more (0.1 dB where it is lit, 0.2 dB in shadow), air absorption, soft surfaces.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any, NamedTuple

import numpy as np

from sim.acoustics.bands import fade_below
from sim.arrays import ComplexArray, FloatArray, IntArray
from sim.errors import SceneError
from sim.propagation.edges.convex import ConvexBody, plain_pressure, prism, rim_fade
from sim.propagation.edges.kept_pieces import chains_again

Radiation = Callable[[FloatArray], ComplexArray]
"""Complex pressure (m, f) at 1 m, phase of the way taken off, toward unit vectors (m, 3)."""
MOST_OCTAVES = 5
FEW_TURNS_RAD = 40.0
ALL_SEEN = 1.0 - 1.0e-9
"""Edges with more than this weight do not fade."""
DRIVE_SAMPLES = 17
"""Places along each edge toward which a directional source is asked, linear in between."""


def plate_total(
    size_m: tuple[float, float, float] | None,
    source: Sequence[float] | FloatArray,
    ear: Sequence[float] | FloatArray,
    frequencies_hz: Sequence[float] | FloatArray,
    speed_of_sound_m_s: float = 343.2,
    order: int = 3,
    *,
    corners: Sequence[Sequence[float]] | FloatArray | None = None,
    thickness_m: float | None = None,
) -> ComplexArray:
    """Total pressure behind, below or above a rigid plate over the direct pressure as it would be without it.

    Parameters
    ----------
    size_m
        (width, depth, thickness) in metres of a level plate with its middle at the origin: depth along the first
        axis (from front), width along the second (from left), thickness along the third (up).  None with `corners`.
    source, ear
        (3,) in metres.
    frequencies_hz
        (f,) hertz.
    speed_of_sound_m_s
        Metres per second.
    order
        Most edges in a chain: 0 (images only), 1, 2 or 3.
    corners, thickness_m
        In place of `size_m`: the corners (n, 3) of a flat convex upper face, counter-clockwise seen from above, and
        the thickness below it.

    Returns
    -------
    Complex (f,), time e^{+j omega t}; 1 means as without the plate.

    Raises
    ------
    SceneError
        A size that is not positive, a point inside the plate, source and ear in one place, an order outside 0 .. 3.
    """
    body = _plate(size_m, corners, thickness_m)
    ends = [np.asarray(point, dtype=np.float64) for point in (source, ear)]
    for name, point in zip(("source", "ear"), ends, strict=True):
        if point.shape != (3,) or not np.isfinite(point).all():
            raise SceneError(name, f"found {point.tolist()}", "three finite numbers in metres would work")
        if body.contains(point):
            raise SceneError(name, f"{point.tolist()} lies inside the plate", "a point outside it would work")
    direct_m = float(np.linalg.norm(ends[1] - ends[0]))
    if direct_m == 0.0:
        raise SceneError("source and ear", "both are in one place", "two places would work")
    if order not in (0, 1, 2, 3):
        raise SceneError("order", f"found {order}", "0, 1, 2 or 3 would work")
    wavenumbers = 2.0 * np.pi * np.asarray(frequencies_hz, dtype=np.float64) / speed_of_sound_m_s
    total = body_pressure(body, ends[0], ends[1], wavenumbers, order).sum(axis=0)
    return np.asarray(total * direct_m * np.exp(1j * wavenumbers * direct_m))


def _plate(
    size_m: tuple[float, float, float] | None,
    corners: Sequence[Sequence[float]] | FloatArray | None,
    thickness_m: float | None,
) -> ConvexBody:
    if (size_m is None) == (corners is None):
        raise SceneError("plate", "size_m and corners are both given or both left out", "one of them would work")
    if size_m is not None:
        width, depth, thick = (float(length) for length in size_m)
        if min(width, depth, thick) <= 0.0:
            raise SceneError("size_m", f"found {tuple(size_m)}", "three lengths above 0 m would work")
        x, y = 0.5 * depth, 0.5 * width
        return prism(
            np.array([[-x, -y, 0.5 * thick], [x, -y, 0.5 * thick], [x, y, 0.5 * thick], [-x, y, 0.5 * thick]]), thick
        )
    upper = np.asarray(corners, dtype=np.float64)
    if thickness_m is None or thickness_m <= 0.0:
        raise SceneError("thickness_m", f"found {thickness_m}", "a length above 0 m would work")
    if upper.ndim != 2 or upper.shape[0] < 3 or upper.shape[1] != 3:
        raise SceneError("corners", f"found shape {upper.shape}", "at least three corners (n, 3) would work")
    return prism(upper, float(thickness_m))


def body_pressure(
    body: ConvexBody,
    source: FloatArray,
    ear: FloatArray,
    wavenumbers: FloatArray,
    order: int = 3,
    radiation: Radiation | None = None,
    edge_weights: FloatArray | None = None,
    third_to: float = np.inf,
) -> ComplexArray:
    """Complex (order + 1, f): plain sound, then what chains of one, two and three edges add, at the ear.

    source, ear: (3,) outside the body; wavenumbers: (f,) rad/m.  Without `radiation` the source is e^{-jkr}/r in all
    directions; with it the edges get what it radiates toward them, and the plain sound is left to the caller (zeros),
    who knows the directions of direct and mirrored paths.  edge_weights: (3, e) weight of each edge as the first of a
    chain, in its middle and as its last, for what is hidden by other things or lies against them; all 1 unless given.
    third_to: wavenumber up to which chains of three are summed; zero above.
    """
    from sim.propagation.edges.edge_kernels import edge_pressure
    from sim.propagation.edges.leg_kernels import one_wedge

    source, ear = body.lifted(source), body.lifted(ear)
    parts = np.zeros((order + 1, len(wavenumbers)), dtype=np.complex128)
    drive = edge_drive(body, source, radiation, len(wavenumbers))
    if radiation is None:
        parts[0] = plain_pressure(body, source, ear, wavenumbers)
    if order >= 1:
        seen = (body.sees(source).min(axis=1) >= 0.0) & (body.sees(ear).min(axis=1) >= 0.0)
        for e in np.flatnonzero(seen):
            wedge = one_wedge(body.wedges, e)
            parts[1] += edge_pressure(source, ear, wedge, 0.0, wedge[4], wavenumbers, drive[e])
    if order >= 2:
        for one in chain_sums(body, source, ear, wavenumbers, order, drive, edge_weights, third_to):
            parts[2:, one.group] += one.pressure()[: order - 1]
    return parts


class ChainSum(NamedTuple):
    """Chains over a body at frequencies that share their nodes: their numbers (f,), and what the kernel takes.

    share: (f,) how much the chains of two count, where there are others at the same frequencies.
    """

    group: IntArray
    arguments: tuple[Any, ...]
    share: FloatArray

    @property
    def size(self) -> float:
        """About how long it takes, so that long ones can begin first: high frequencies need many nodes."""
        wavenumbers, third = self.arguments[-2:]
        return float(wavenumbers.max() * (1.0 + 2.0 * bool(third)))

    def pressure(self) -> ComplexArray:
        """Complex (2, f): what all chains of two and of three edges add at the ear."""
        from sim.propagation.edges.chain_kernels import chained_pressure

        pressure = np.array(chains_again(self.arguments, lambda: np.asarray(chained_pressure(*self.arguments))))
        pressure[0] *= self.share
        return pressure


def chain_sums(
    body: ConvexBody,
    source: FloatArray,
    ear: FloatArray,
    wavenumbers: FloatArray,
    order: int,
    drive: ComplexArray,
    edge_weights: FloatArray | None = None,
    third_to: float = np.inf,
) -> list[ChainSum]:
    """What is to be summed for `body_pressure`, in pieces that threads can share; drive as of `edge_drive`.

    The last order goes as `rim_fade` says: that is three up to `third_to`, two above, and both in part below it where
    that makes a difference.
    """
    fades = np.stack([rim_fade(body, source), rim_fade(body, ear)])
    weights = np.ones((3, len(drive))) if edge_weights is None else edge_weights
    longest = float(body.wedges[4].max())
    with_third = fade_below(wavenumbers, third_to) if order >= 3 else np.zeros(len(wavenumbers))
    without = 1.0 - with_third
    if fades.min() > ALL_SEEN:
        without[with_third > 0.0] = 0.0
    ends = (source, ear, body.wedges, body.edge_legs, fades, weights)
    sums: list[ChainSum] = []
    for third, share in ((True, with_third), (False, without)):
        some = np.flatnonzero(share > 0.0)
        whole = third and fades.min() > ALL_SEEN
        for group in (some[part] for part in chain_groups(wavenumbers[some], longest)) if len(some) else ():
            arguments = (*ends, np.ascontiguousarray(drive[:, :, group]), wavenumbers[group], third)
            sums.append(ChainSum(group, arguments, np.ones(len(group)) if whole else share[group]))
    return sums


def octaves(wavenumbers: FloatArray) -> list[IntArray]:
    """Numbers of the wavenumbers (f,), octave by octave from the top: the nodes of each need only suit its highest."""
    below = np.minimum(
        np.floor(np.log2(wavenumbers.max(initial=1.0e-9) / np.maximum(wavenumbers, 1.0e-9)) + 1.0e-9), MOST_OCTAVES
    )
    return [np.flatnonzero(below == octave) for octave in np.unique(below)]


def chain_groups(wavenumbers: FloatArray, longest_m: float) -> list[IntArray]:
    """As `octaves`, those together in which the longest edge turns the phase by less than `FEW_TURNS_RAD`.

    There the nodes hardly depend on the frequency, and finding them costs as much as a dozen octaves of waves.
    """
    split = octaves(wavenumbers)
    low = [group for group in split if wavenumbers[group].max() * longest_m < FEW_TURNS_RAD]
    high = [group for group in split if wavenumbers[group].max() * longest_m >= FEW_TURNS_RAD]
    return high + ([np.sort(np.concatenate(low))] if low else [])


def edge_drive(body: ConvexBody, source: FloatArray, radiation: Radiation | None, count: int) -> ComplexArray:
    """Radiation (e, n, f) of the source toward n places evenly along each edge; n = 0 for all directions alike."""
    start, along, _, _, length, _ = body.wedges
    if radiation is None:
        return np.zeros((len(length), 0, count), dtype=np.complex128)
    fraction = np.linspace(0.0, 1.0, DRIVE_SAMPLES)
    places = start[:, None] + fraction[None, :, None] * (length[:, None] * along)[:, None]
    ways = (places - source).reshape(-1, 3)
    ways /= np.linalg.norm(ways, axis=1)[:, None]
    return np.ascontiguousarray(radiation(ways).reshape(len(length), DRIVE_SAMPLES, -1))
