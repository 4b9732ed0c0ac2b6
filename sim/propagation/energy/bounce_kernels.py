"""Rays that remember where they bounced: arrays in, arrays out.

Tuples as in `tracer_kernels`.  A ray stays whole: where octaves scatter unlike each other, one draw decides for all
with the mean of their coefficients, and each octave is weighted with its own share over that mean.  Over the few
surfaces of an early window such weights stay small.
"""

from __future__ import annotations

import math

import numpy as np

from sim.propagation.energy.leg_kernels import (
    OCTAVES,
    anywhere,
    boundary_at,
    fraction_of,
    key_of,
    next_surface,
    scattered,
    send,
    surfaces_at,
    words_of,
)
from sim.rays.eight_kernels import NOTHING
from sim.rays.kinds_of_kernels import inlined, kernel, whole
from sim.rays.lanes import store
from sim.rays.ray_kernels import addresses_of, is_hidden_at

REMEMBERED = 3
COLUMNS = OCTAVES + 3 + 4 * REMEMBERED
"""Energies, length in metres, bounces in all, whether anything scattered; then facet, and place, of the first three."""


@inlined
def note(row, now, fraction, air, length, turn, strayed, memory):  # type: ignore[no-untyped-def]
    """Write one arrival to a row of the table."""
    for b in range(OCTAVES):
        row[b] = now[b] * fraction * math.exp(-air[b] * length)
    row[OCTAVES], row[OCTAVES + 1], row[OCTAVES + 2] = length, turn, strayed
    for n in range(4 * REMEMBERED):
        row[OCTAVES + 3 + n] = memory[n] if n < 4 * turn else math.nan


@kernel
def bounce_chunk(first, count, seed, stream, source, surfaces, ears, travel, rays, found):  # type: ignore[no-untyped-def]
    """Trace rays first .. first + count - 1; write what reaches the first ear to found (n, COLUMNS).

    Direct sound is left out.  Returns how much there is to write, which may be more than there is room for: call again
    with more.
    """
    middle, _, _, own, own_plane, _ = source
    facet_of, normals, other_side, first_panel, panels, kept, scattering = surfaces
    places_of, radii = ears
    air, most_m = travel
    plane_of, owner_of = rays[2], rays[3]
    places = addresses_of(*rays)
    around = surfaces_at(facet_of, normals, other_side, plane_of, owner_of)
    first_panel_at, panels_at = first_panel.ctypes.data, panels.ctypes.data
    facets, room = normals.shape[0], found.shape[0]
    ex0, ey0, ez0, radius = places_of[0, 0], places_of[0, 1], places_of[0, 2], radii[0]
    volume = 4.0 / 3.0 * math.pi * radius**3
    key = key_of(seed, stream)
    now, memory = np.zeros(OCTAVES), np.zeros(4 * REMEMBERED)
    arrived = 0
    for ray in range(first, first + count):
        words = words_of(ray, whole(0), key)
        dx, dy, dz = anywhere(fraction_of(words[0]), fraction_of(words[1]))
        store(now.ctypes.data, send(dx, dy, dz, source))
        if now.max() == 0.0:
            continue
        x, y, z, way, turn, plane = middle[0], middle[1], middle[2], 0.0, 0, own_plane
        strayed, mirrored = 0, 0
        while way < most_m:
            leg, triangle, f, cosine, is_lost, _ = next_surface(places, around, x, y, z, dx, dy, dz, plane, own, turn)
            ex, ey, ez = ex0 - x, ey0 - y, ez0 - z
            along = ex * dx + ey * dy + ez * dz
            square = radius * radius - (ex * ex + ey * ey + ez * ez - along * along)
            if mirrored == 1 and square > 0.0:
                begin, end = max(along - math.sqrt(square), 0.0), min(along + math.sqrt(square), leg)
                halfway = 0.5 * (begin + end)
                if end > begin and way + halfway < most_m:
                    if arrived < room:
                        fraction = (end - begin) / volume
                        note(found[arrived], now, fraction, air, way + halfway, turn, strayed, memory)
                    arrived += 1
            if is_lost:
                break
            x, y, z, way, turn = x + leg * dx, y + leg * dy, z + leg * dz, way + leg, turn + 1
            plane = plane_of[triangle]
            if turn <= REMEMBERED:
                n = 4 * (turn - 1)
                memory[n], memory[n + 1], memory[n + 2], memory[n + 3] = f, x, y, z
            nx, ny, nz = normals[f, 0], normals[f, 1], normals[f, 2]
            boundary = boundary_at(f, plane, x, y, z, facets, first_panel_at, panels_at)
            chance = 0.0
            for b in range(OCTAVES):
                now[b] *= kept[boundary, b]
                chance += scattering[boundary, b] / OCTAVES
            words = words_of(ray, turn, key)
            if fraction_of(words[0]) >= chance:
                for b in range(OCTAVES):
                    now[b] *= (1.0 - scattering[boundary, b]) / (1.0 - chance)
                dx, dy, dz = dx + 2.0 * cosine * nx, dy + 2.0 * cosine * ny, dz + 2.0 * cosine * nz
                mirrored = 1
                continue
            for b in range(OCTAVES):
                now[b] *= scattering[boundary, b] / chance
            strayed, mirrored = 1, 0
            ex, ey, ez = ex0 - x, ey0 - y, ez0 - z
            lift = ex * nx + ey * ny + ez * nz
            far = math.sqrt(ex * ex + ey * ey + ez * ez)
            if (
                lift > 0.0
                and way + far < most_m
                and not is_hidden_at(places, x, y, z, ex0, ey0, ez0, plane, other_side[plane], NOTHING)
            ):
                if arrived < room:
                    note(found[arrived], now, lift / (math.pi * max(far, radius) ** 3), air, way + far, turn, 1, memory)
                arrived += 1
            dx, dy, dz = scattered(nx, ny, nz, fraction_of(words[1]), fraction_of(words[2]))
    return arrived
