"""Random numbers by place: published answers, a twin in whole numbers, and the moments of the directions."""

from __future__ import annotations

import numba as nb
import numpy as np
import pytest

from sim.propagation.energy.leg_kernels import anywhere, fraction_of, philox, scattered

WORD = 0xFFFFFFFF


@nb.njit
def words_of(counter, key):  # type: ignore[no-untyped-def]
    return philox(counter[0], counter[1], counter[2], counter[3], key[0], key[1])


@nb.njit
def fraction_of_word(word):  # type: ignore[no-untyped-def]
    return fraction_of(word)


@nb.njit
def many_directions(count, nx, ny, nz):  # type: ignore[no-untyped-def]
    """Directions (count, 3) all round, and as many by Lambert's law about n."""
    even, lambert = np.empty((count, 3)), np.empty((count, 3))
    for n in range(count):
        w = philox(np.uint64(n), np.uint64(0), np.uint64(0), np.uint64(0), np.uint64(7), np.uint64(1))
        even[n, 0], even[n, 1], even[n, 2] = anywhere(fraction_of(w[0]), fraction_of(w[1]))
        lambert[n, 0], lambert[n, 1], lambert[n, 2] = scattered(nx, ny, nz, fraction_of(w[2]), fraction_of(w[3]))
    return even, lambert


def philox_written_out(counter: list[int], key: list[int]) -> list[int]:
    """Ten rounds as in the paper, in whole numbers of any size."""
    c, k = list(counter), list(key)
    for _ in range(10):
        first, second = 0xD2511F53 * c[0], 0xCD9E8D57 * c[2]
        c = [(second >> 32) ^ c[1] ^ k[0], second & WORD, (first >> 32) ^ c[3] ^ k[1], first & WORD]
        k = [(k[0] + 0x9E3779B9) & WORD, (k[1] + 0xBB67AE85) & WORD]
    return c


@pytest.mark.parametrize(
    ("counter", "key", "answer"),
    [
        ([0] * 4, [0] * 2, [0x6627E8D5, 0xE169C58D, 0xBC57AC4C, 0x9B00DBD8]),
        ([WORD] * 4, [WORD] * 2, [0x408F276D, 0x41C83B0E, 0xA20BC7C6, 0x6D5451FD]),
        (
            [0x243F6A88, 0x85A308D3, 0x13198A2E, 0x03707344],
            [0xA4093822, 0x299F31D0],
            [0xD16CFE09, 0x94FDCCEB, 0x5001E420, 0x24126EA1],
        ),
    ],
)
def test_known_answers(counter: list[int], key: list[int], answer: list[int]) -> None:
    """Known answers for philox4x32-10 that come with Salmon et al. (SC11, 2011); the third counter is digits of pi."""
    assert list(words_of(np.array(counter, np.uint64), np.array(key, np.uint64))) == answer
    assert philox_written_out(counter, key) == answer


def test_agrees_with_ten_rounds_written_out() -> None:
    draw = np.random.default_rng(3)
    for _ in range(200):
        counter, key = draw.integers(0, 2**32, 4, dtype=np.uint64), draw.integers(0, 2**32, 2, dtype=np.uint64)
        expected = philox_written_out([int(w) for w in counter], [int(w) for w in key])
        assert [int(w) for w in words_of(counter, key)] == expected


@pytest.mark.parametrize("normal", [(0.0, 0.0, 1.0), (0.0, 0.0, -1.0), (0.6, -0.64, 0.48), (-1.0, 0.0, 0.0)])
def test_moments_of_lambert(normal: tuple[float, float, float]) -> None:
    """Density cos(t)/pi: mean cosine 2/3, half within 45 degrees, a quarter within 30 (Kuttruff, Room Acoustics)."""
    count = 1_000_000
    even, lambert = many_directions(count, *normal)
    cosine = lambert @ np.array(normal)
    assert cosine.min() > 0.0
    assert np.linalg.norm(lambert, axis=1) == pytest.approx(1.0, abs=1e-12)
    assert cosine.mean() == pytest.approx(2.0 / 3.0, abs=4.0 * np.sqrt(1.0 / 18.0 / count))
    for angle_deg, fraction in ((30.0, 0.25), (45.0, 0.5), (60.0, 0.75)):
        within = float(np.mean(cosine > np.cos(np.radians(angle_deg))))
        assert within == pytest.approx(fraction, abs=4.0 * np.sqrt(fraction * (1.0 - fraction) / count))
    sideways = lambert - cosine[:, None] * np.array(normal)
    assert np.abs(sideways.mean(axis=0)).max() < 4.0 * np.sqrt(0.25 / count)  # each direction across has variance 1/4
    assert even.mean(axis=0) == pytest.approx(0.0, abs=4.0 * np.sqrt(1.0 / 3.0 / count))
    assert (even**2).mean(axis=0) == pytest.approx(1.0 / 3.0, abs=4.0 * np.sqrt(4.0 / 45.0 / count))


def test_shares_never_reach_their_ends() -> None:
    assert 0.0 < fraction_of_word(np.uint64(0)) < fraction_of_word(np.uint64(WORD)) < 1.0
