"""What a driver on the front of a rigid box radiates where the box is large against the wave: its edges one by one.

In front: the piston in a baffle and sound diffracted by each of the four edges of the front, which the piston drives
with what it sends along the baffle.  Behind: what these send along the sides is diffracted once more by the edges of
the back.  The uniform theory of diffraction of Kouyoumjian and Pathak (Proc. IEEE 62 (1974) 1448-1461) for rigid wedges
of 270 degrees, grazing incidence, where source and face count as one; far away the phase of an edge at the distance
rho is k rho (sin beta - cosine toward it), beta the angle between direction and edge.  An edge ends: the weight of its
stretch is the Fresnel integral from end to end about the point where sound leaves it, so that nothing jumps where
that point passes a corner.

Against boundary elements where the tables end: 0.1 to 0.3 dB to 70 degrees off the axis, 1 to 2 dB about 90 degrees,
3 dB behind, where it is 12 to 18 dB down.  Left out: sound that turns round a corner into the neighbouring face, and
three edges in a row.

What does not depend on frequency is worked out once for each direction and edge; the loops over frequency have nothing
but sums, products, quotients and short series in them, so that the compiler works on many at once.  Fresnel's integrals
are those of Abramowitz & Stegun, Handbook of Mathematical Functions (1964), 7.3.32 and 7.3.33, within 0.002.
"""

from __future__ import annotations

import math

import numpy as np

from sim.rays.kinds_of_kernels import flowing, inlined, part

OPENING = 1.5
"""Outer angle of the wedge in units of 180 degrees."""
BEHIND = 1.5 * math.pi
BACK_ENDS, BACK_FADES = 0.4, 0.2
"""Cosine from the axis at which what the edges of the back send forward is dropped, and over how much it fades."""
LEAST_SINE = 0.05
ROUNDED = 1e-12
SCALE = math.sqrt(2.0 / math.pi)
TO_WHOLE = 6755399441055744.0
"""1.5 * 2^52: what is added to it and taken off again is rounded to a whole number."""
PER_TURN, TURN_HIGH, TURN_LOW = 0.15915494309189535, 6.283185005187988, 3.0199159819604e-07
"""2 pi in two parts, the first with so few bits that its products with whole turns are exact."""


@inlined
def turned(phase):  # type: ignore[no-untyped-def]
    """Cosine and sine, within 1e-8, by series in a quarter of what is left of the turn."""
    turns = (phase * PER_TURN + TO_WHOLE) - TO_WHOLE
    a = 0.25 * ((phase - turns * TURN_HIGH) - turns * TURN_LOW)
    b = a * a
    c = 1.0 + b * (-1.0 / 2.0 + b * (1.0 / 24.0 + b * (-1.0 / 720.0 + b * (1.0 / 40320.0 - b / 3628800.0))))
    s = a * (1.0 + b * (-1.0 / 6.0 + b * (1.0 / 120.0 + b * (-1.0 / 5040.0 + b / 362880.0))))
    s, c = 2.0 * s * c, 1.0 - 2.0 * s * s
    return 1.0 - 2.0 * s * s, 2.0 * s * c


@inlined
def piston(x):  # type: ignore[no-untyped-def]
    """2 J1(x)/x for x >= 0 within 1e-7: Abramowitz & Stegun (1964), 9.4.4 to 3 and 9.4.6 from there on."""
    t = x * x / 9.0
    near = 0.00443319 - t * (0.00031761 - t * 0.00001109)
    near = 0.5 - t * (0.56249985 - t * (0.21093573 - t * (0.03954289 - t * near)))
    y = max(x, 3.0)
    v = 3.0 / y
    size = 0.01659667 + v * (0.00017105 + v * (-0.00249511 + v * (0.00113653 - v * 0.00020033)))
    size = 0.79788456 + v * (0.00000156 + v * size)
    angle = 0.00637879 + v * (-0.00074348 + v * (-0.00079824 + v * 0.00029166))
    angle = y - 2.35619449 + v * (0.12499612 + v * (0.00005650 - v * angle))
    c, _ = turned(angle)
    far = size * c / (y * np.sqrt(y))
    return 2.0 * near if x < 3.0 else 2.0 * far


@inlined
def slopes(angle, sine, length, sign):  # type: ignore[no-untyped-def]
    """One of the two terms of a wedge: its strength, and its argument of Fresnel's integral over sqrt(k)."""
    turns = 2.0 * math.pi * OPENING if sign > 0.0 and angle > 0.5 * math.pi else 0.0
    cosine = abs(math.cos(0.5 * (turns - angle)))
    half = (math.pi + sign * angle) / (2.0 * OPENING)
    # cot x sqrt(L a) has a limit where both cosine and tangent vanish; on the shadow's border the lit side is meant
    steep = OPENING if cosine < 1e-6 else math.cos(half) * cosine / math.sin(half)
    root = math.sqrt(2.0 * length)
    return steep * root, SCALE * root * cosine


@inlined
def ends(across, place, half, lengthwise, sine, side):  # type: ignore[no-untyped-def]
    """How much longer the way by one end of an edge is, and its sign: negative where sound would leave past it."""
    leaves = place + across * lengthwise / sine
    least = math.sqrt(across * across + (leaves - place) ** 2) - leaves * lengthwise
    end = side * half
    longer = math.sqrt(across * across + (end - place) ** 2) - end * lengthwise - least
    return max(longer, 0.0), 1.0 if side * (end - leaves) >= 0.0 else -1.0


@inlined
def fresnel_parts(z):  # type: ignore[no-untyped-def]
    """Auxiliary functions f and g of Fresnel's integrals (Abramowitz & Stegun, 7.3.32 and 7.3.33)."""
    return (1.0 + 0.926 * z) / (2.0 + z * (1.792 + 3.104 * z)), 1.0 / (2.0 + z * (4.142 + z * (3.492 + 6.670 * z)))


@inlined
def past_end(z, phase, sign):  # type: ignore[no-untyped-def]
    """What an end takes from the weight of its stretch, real and imaginary."""
    p, q = fresnel_parts(z)
    c, s = turned(phase)
    return 0.5 * sign * ((p + q) * c + (q - p) * s), 0.5 * sign * ((q - p) * c - (p + q) * s)


@flowing
def add_edges(size, place, directions, radius, wavenumber, scale, columns, total):  # type: ignore[no-untyped-def]
    """Add a driver and the edges of its box, times scale (f,), to some columns (f,) of total (m, n), all complex.

    A piston in a baffle is 1 on its axis.  size (3,) width, height, depth and place (2,) right, up in metres;
    directions (m, 3) unit vectors; radius (f,) in metres; wavenumber (f,) in rad/m.
    """
    count = wavenumber.shape[0]
    root, baffle = np.empty(count), np.empty(count)
    real, imaginary = np.empty(count), np.empty(count)
    for f in range(count):
        root[f] = np.sqrt(wavenumber[f])
        baffle[f] = piston(wavenumber[f] * radius[f])
    for m in range(directions.shape[0]):
        forward = directions[m, 0]
        for f in range(count):
            real[f] = 0.0
            imaginary[f] = 0.0
        for which in range(4):
            column, side = which // 2, -1.0 if which % 2 == 0 else 1.0
            near = 0.5 * size[column] - side * place[column]
            other, half = place[1 - column], 0.5 * size[1 - column]
            outward, lengthwise = side * directions[m, 1 + column], directions[m, 2 - column]
            sine = max(math.sqrt(max(1.0 - lengthwise * lengthwise, 0.0)), LEAST_SINE)
            spread = near / sine
            if forward >= -ROUNDED or outward >= -ROUNDED:
                angle = min(math.atan2(forward, -outward) % (2.0 * math.pi), BEHIND)
                s1, z1 = slopes(angle, sine, spread * sine * sine, -1.0)
                s2, z2 = slopes(angle, sine, spread * sine * sine, 1.0)
                a, a_sign = ends(near, other, half, lengthwise, sine, -1.0)
                b, b_sign = ends(near, other, half, lengthwise, sine, 1.0)
                a_root, b_root = SCALE * math.sqrt(a), SCALE * math.sqrt(b)
                whole = 0.5 * (a_sign + b_sign)
                late = near * (sine - outward)
                strength = -1.0 / (2.0 * OPENING * sine * math.sqrt(spread)) * math.sqrt(0.5)
                for f in range(count):
                    k, r = wavenumber[f], root[f]
                    f_part, g_part = fresnel_parts(z1 * r)
                    x = s1 * f_part
                    y = s1 * g_part
                    f_part, g_part = fresnel_parts(z2 * r)
                    x += s2 * f_part
                    y += s2 * g_part
                    # the weight of the stretch between its ends
                    ar, ai = past_end(a_root * r, a * k, a_sign)
                    br, bi = past_end(b_root * r, b * k, b_sign)
                    wr, wi = whole - ar - br, -ai - bi
                    x, y = x + y, y - x  # times 1 - j
                    x, y = x * wr - y * wi, x * wi + y * wr
                    c, s = turned(late * k)
                    real[f] += strength * (x * c + y * s)
                    imaginary[f] += strength * (y * c - x * s)
            if forward < BACK_ENDS and (forward <= ROUNDED or outward >= -ROUNDED):
                angle = min(math.atan2(outward, forward) % (2.0 * math.pi), BEHIND)
                far = size[2] / sine
                length = spread * far / (spread + far) * sine * sine
                s1, z1 = slopes(BEHIND, sine, length, -1.0)
                s2, z2 = slopes(BEHIND, sine, length, 1.0)
                s3, z3 = slopes(angle, sine, far * sine * sine, -1.0)
                s4, z4 = slopes(angle, sine, far * sine * sine, 1.0)
                across = near + size[2]
                a, a_sign = ends(across, other, half, lengthwise, sine, -1.0)
                b, b_sign = ends(across, other, half, lengthwise, sine, 1.0)
                a_root, b_root = SCALE * math.sqrt(a), SCALE * math.sqrt(b)
                whole = 0.5 * (a_sign + b_sign)
                late = across * sine - near * outward + size[2] * forward
                strength = 1.0 / ((2.0 * OPENING * sine) ** 2 * math.sqrt(spread * far))
                strength *= min((BACK_ENDS - forward) / BACK_FADES, 1.0)
                for f in range(count):
                    k, r = wavenumber[f], root[f]
                    f_part, g_part = fresnel_parts(z1 * r)
                    x = s1 * f_part
                    y = s1 * g_part
                    f_part, g_part = fresnel_parts(z2 * r)
                    x += s2 * f_part
                    y += s2 * g_part
                    f_part, g_part = fresnel_parts(z3 * r)
                    p = s3 * f_part
                    q = s3 * g_part
                    f_part, g_part = fresnel_parts(z4 * r)
                    p += s4 * f_part
                    q += s4 * g_part
                    x, y = x * p - y * q, x * q + y * p
                    x, y = y, -x  # both wedges' e^{-j pi/4}
                    ar, ai = past_end(a_root * r, a * k, a_sign)
                    br, bi = past_end(b_root * r, b * k, b_sign)
                    wr, wi = whole - ar - br, -ai - bi
                    x, y = x * wr - y * wi, x * wi + y * wr
                    c, s = turned(late * k)
                    real[f] += strength * (x * c + y * s)
                    imaginary[f] += strength * (y * c - x * s)
        across_axis = math.sqrt(max(1.0 - forward * forward, 0.0))
        shown = 1.0 if forward >= 0.0 else 0.0
        for f in range(count):
            direct = shown * piston(across_axis * wavenumber[f] * radius[f])
            total[m, columns[f]] += scale[f] * complex(direct + baffle[f] * real[f], baffle[f] * imaginary[f])


@part
def cubic_weight(x, number):  # type: ignore[no-untyped-def]
    """Lagrange's weight at x of the value at -1, 0, 1 or 2, the places being numbered from 0."""
    if number == 0:
        return -x * (x - 1.0) * (x - 2.0) / 6.0
    if number == 1:
        return (x + 1.0) * (x - 1.0) * (x - 2.0) / 2.0
    if number == 2:
        return -(x + 1.0) * x * (x - 2.0) / 2.0
    return (x + 1.0) * x * (x - 1.0) / 6.0


@flowing
def read_table(table, ways, angles, turns, first, weights, scale, low, columns, total):  # type: ignore[no-untyped-def]
    """Write what a table holds in directions (m, 3) at frequencies (f,) into some columns (f,) of total (m, n) complex.

    The table (angles * turns, 2 k) has real parts before imaginary ones and is read in each direction by a cubic
    through four by four of its grid: angles run from straight ahead to straight back, both included; turns go round;
    past a pole the circle comes down on the other side.  Then for each frequency six neighbours from `first` (f,) on,
    by weights (6, f), times scale (2, f), real and imaginary part; `low` (3, f) is what the difference from 1 in the
    real part and the imaginary part are multiplied by, and then all of it.
    """
    k = table.shape[1] // 2
    read, across, along = np.empty(2 * k), np.empty(4), np.empty(4)
    for m in range(ways.shape[0]):
        angle = math.acos(min(1.0, max(-1.0, ways[m, 0]))) / math.pi * (angles - 1)
        turn = math.atan2(ways[m, 2], ways[m, 1]) / (2.0 * math.pi) % 1.0 * turns
        row, column = min(int(angle), angles - 2), int(turn)
        for i in range(4):
            along[i], across[i] = cubic_weight(angle - row, i), cubic_weight(turn - column, i)
        for n in range(2 * k):
            read[n] = 0.0
        for i in range(4):
            here, beside = row + i - 1, column
            if here < 0 or here >= angles:
                here, beside = (-here if here < 0 else 2 * (angles - 1) - here), column + turns // 2
            for j in range(4):
                place, share = here * turns + (beside + j - 1) % turns, along[i] * across[j]
                for n in range(2 * k):
                    read[n] += share * table[place, n]
        for f in range(first.shape[0]):
            x, y, at = 0.0, 0.0, first[f]
            for n in range(6):
                x += weights[n, f] * read[at + n]
                y += weights[n, f] * read[at + n + k]
            x, y = x * scale[0, f] - y * scale[1, f], x * scale[1, f] + y * scale[0, f]
            total[m, columns[f]] = complex(low[2, f] * (1.0 + (x - 1.0) * low[0, f]), low[2, f] * (y * low[1, f]))
