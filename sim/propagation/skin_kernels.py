"""What sound meets on its way and what that leaves of it: panels on surfaces, and air."""

from __future__ import annotations

from ..geometry.kinds_of_kernels import inlined
from ..geometry.lanes import load_double, load_whole, multiply_add, spread_double

SKIN_BYTES = 64
"""One row of eight octaves of a skin, as `sim.propagation.skins` lists them."""
PANEL_BYTES = 72
SERIES_UNTIL = 0.03


@inlined
def skin_at(facet, plane, x, y, z, facets, first_panel_at, panels_at):  # type: ignore[no-untyped-def]
    """Number of the skin at a point of a facet: that of a panel hung there, else the facet's own.

    first_panel_at, panels_at: addresses of `Skins.first_panel` and `Skins.panels`.
    """
    for i in range(load_whole(first_panel_at + 8 * plane), load_whole(first_panel_at + 8 * plane + 8)):
        panel = panels_at + PANEL_BYTES * i
        rx, ry, rz = x - load_double(panel), y - load_double(panel + 8), z - load_double(panel + 16)
        a = rx * load_double(panel + 24) + ry * load_double(panel + 32) + rz * load_double(panel + 40)
        b = rx * load_double(panel + 48) + ry * load_double(panel + 56) + rz * load_double(panel + 64)
        if 0.0 <= a <= 1.0 and 0.0 <= b <= 1.0:
            return facets + i
    return facet


@inlined
def faded(rates, steepest, metres):  # type: ignore[no-untyped-def]
    """What is left of eight energies after a way through air: e^{-m L} lane by lane.

    rates: m of the eight octaves in 1/m; steepest: the largest of them.  e^{-x} = (e^{-x/n})^n, n = 8 or a larger power
    of two, by six terms of the series for x/n up to 0.03: the first left out is 5e-15 for each of the n.  Right within
    1e-13 of what there was, as long as the steepest loses no more than 12 nepers (52 dB).
    """
    short = 0.125 * metres
    while steepest * short > SERIES_UNTIL:
        short *= 0.5
    x, one = rates * spread_double(-short), spread_double(1.0)
    e = multiply_add(x, spread_double(1.0 / 720.0), spread_double(1.0 / 120.0))
    e = multiply_add(x, e, spread_double(1.0 / 24.0))
    e = multiply_add(x, e, spread_double(1.0 / 6.0))
    e = multiply_add(x, multiply_add(x, e, spread_double(0.5)), one)
    e = multiply_add(x, e, one)
    e = e * e
    e = e * e
    e = e * e
    # longer ways than some ten metres at 8 kHz were halved more often
    while short < 0.1 * metres:
        short *= 2.0
        e = e * e
    return e
