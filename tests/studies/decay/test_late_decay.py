from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from sim.errors import BounceplanError
from sim.studies.decay.late import C50, T20, Gathered, Wanted, _without_direct, gather
from sim.studies.decay.room_metrics import FIGURES
from tests.studies.decay.decaying import exponential

ARRIVALS = np.array([[0.0043], [0.0061]])
ALL = np.ones(3, dtype=bool)


class MadeUp:
    """Shot noise on exponentials: each ray brings what its own number gives, whatever batch it is in."""

    def __init__(self, decay_s: float = 0.3, per_ray: float = 20.0, direct: float = 0.4) -> None:
        self.decay_s, self.per_ray = decay_s, per_ray
        self.arrival_s, self.direct = ARRIVALS, np.full((2, 1, 3), direct)
        self.asked: list[tuple[int, int]] = []

    def _even(self, bin_s: float, length_s: float) -> np.ndarray:
        rows = [exponential(self.decay_s, bin_s, length_s, at) for at in ARRIVALS[:, 0]]
        return np.repeat(np.stack(rows)[:, None, None], 3, axis=2)

    def images(self, bin_s: float, length_s: float) -> np.ndarray:
        energy = 0.2 * self._even(bin_s, length_s)
        for s, at in enumerate(ARRIVALS[:, 0]):
            energy[s, 0, :, int(at / bin_s)] += self.direct[s, 0]
        return energy

    def late(self, first_ray: int, rays: int, bin_s: float, length_s: float) -> np.ndarray:
        self.asked.append((first_ray, rays))
        even = 0.8 * self._even(bin_s, length_s)
        return np.random.default_rng(first_ray).poisson(even * self.per_ray * rays) / (self.per_ray * rays)


def run(sound: MadeUp, percent: float = 2.0, db: float = 0.3, octaves=ALL, **more) -> tuple[Gathered, list[str]]:
    said: list[str] = []
    asked = {"most_rays": 65_536, "bin_s": 1e-3, "length_s": 0.4, **more}
    return gather(sound, Wanted(percent, db, octaves), report=said.append, **asked), said


def test_figures_come_out_within_their_errors() -> None:
    done, said = run(MadeUp())
    assert done.met.all()
    off = (done.figures[..., T20] - 0.3) / done.errors[..., T20]
    assert (np.abs(off) < 4.0).all()
    assert np.sqrt((off**2).mean()) < 2.0
    assert (done.errors[..., T20] <= 0.02 * done.figures[..., T20]).all()
    direct = done.figures[..., FIGURES.index("direct_db")]
    assert direct == pytest.approx(10.0 * np.log10(0.4), abs=0.1)
    # C50 with direct 0.4 and T = 0.3 s: 10 lg((0.4 + 0.9)/0.1)
    assert done.figures[..., C50] == pytest.approx(10.0 * np.log10(13.0), abs=0.3)
    assert said[-1].startswith(f"{done.rays} rays: T20 within ")


def test_a_smaller_error_takes_more_rays_and_each_ray_once() -> None:
    few, many = MadeUp(per_ray=1.0), MadeUp(per_ray=1.0)
    loose, _ = run(few, percent=5.0, db=1.0)
    strict, _ = run(many, percent=1.5, db=1.0)
    assert strict.met.all()
    assert strict.rays >= 3 * loose.rays
    for sound, done in ((few, loose), (many, strict)):
        asked = sound.asked[4:]  # the first four ask whether sound is followed long enough
        ends = [first + rays for first, rays in asked]
        assert [first for first, _ in asked] == [0, *ends[:-1]]
        assert ends[-1] == done.rays
        assert 16 <= len(done.batches) <= 32


def test_batches_that_are_put_together_hold_the_mean_of_all_rays() -> None:
    sound = MadeUp(per_ray=1.0)
    done, _ = run(sound, percent=1.5, db=1.0)
    assert done.rays / len(done.batches) >= 1024, "put together at least once"
    asked = list(sound.asked[4:])
    late = [rays * sound.late(first, rays, done.bin_s, done.length_s) for first, rays in asked]
    images = sound.images(done.bin_s, done.length_s)
    for s, at in enumerate(ARRIVALS[:, 0]):
        images[s, 0, :, int(at / done.bin_s)] -= sound.direct[s, 0]
    assert done.batches.mean(axis=0) == pytest.approx(np.sum(late, axis=0) / done.rays + images, abs=1e-12)


@pytest.mark.parametrize("off", [-1, 0, 1])
def test_direct_sound_may_be_a_bin_off_beside_a_louder_echo(off: int) -> None:
    class Echo(MadeUp):
        def images(self, bin_s: float, length_s: float) -> np.ndarray:
            energy = np.zeros((2, 1, 3, round(length_s / bin_s)))
            for s, at in enumerate(ARRIVALS[:, 0]):
                energy[s, 0, :, int(at / bin_s) + off] = self.direct[s, 0]
                energy[s, 0, :2, int(at / bin_s) + 1] += 2.0 * self.direct[s, 0, :2]  # none in the third octave
            return energy

    sound = Echo()
    rest = _without_direct(sound, sound.images(1e-3, 0.4), 1e-3)
    assert rest.sum(axis=-1) == pytest.approx(np.array([0.8, 0.8, 0.0]) * np.ones((2, 1, 1)), abs=1e-12)
    for s, at in enumerate(ARRIVALS[:, 0]):
        assert rest[s, 0, 0, int(at / 1e-3) + 1] == pytest.approx(0.8)


def test_errors_fall_as_the_square_root_of_rays() -> None:
    reported = []
    for rays in (4096, 16_384, 65_536):
        done, _ = run(MadeUp(per_ray=4.0), percent=1e-3, most_rays=rays)
        reported.append(np.sqrt((done.errors[..., (T20, C50)] ** 2).mean(axis=(0, 1, 2))))
    ratio = np.array(reported[:-1]) / np.array(reported[1:])
    assert ratio == pytest.approx(2.0, rel=0.3)  # six errors of 16 batches each are known to a tenth


def test_it_ends_with_the_rays_and_says_what_was_not_reached() -> None:
    done, said = run(MadeUp(per_ray=4.0), percent=0.2, most_rays=20_000)
    assert 20_000 - 1024 < done.rays <= 20_000
    assert not done.met.any()
    assert "T20 within" in said[-1]


def test_octaves_that_are_not_judged_hold_nothing_up() -> None:
    class Rough(MadeUp):
        def late(self, first_ray: int, rays: int, bin_s: float, length_s: float) -> np.ndarray:
            energy, rng = super().late(first_ray, rays, bin_s, length_s), np.random.default_rng([7, first_ray])
            energy[:, :, 0] = rng.poisson(energy[:, :, 0] * 0.3 * rays) / (0.3 * rays)
            return energy

    every, _ = run(Rough(), most_rays=65_536)
    some, _ = run(Rough(), octaves=np.array([False, True, True]), most_rays=65_536)
    assert some.rays < every.rays
    assert some.met[:, :, 1:].all()


def test_a_time_that_is_too_short_is_lengthened() -> None:
    sound = MadeUp(decay_s=0.6)
    done, said = run(sound, length_s=0.25)
    assert 0.5 < done.length_s < 0.75  # 50 dB take 0.5 s
    assert 1 <= sum("has not died away" in words for words in said) <= 2
    assert sound.asked[:4] == [(0, 512), (512, 512), (1024, 512), (1536, 512)]
    assert sound.asked[4] == (0, 512), "all begins again"
    assert done.figures[..., T20] == pytest.approx(0.6, rel=0.1)
    assert sound.asked[-1][0] + sound.asked[-1][1] == done.rays


def test_sound_that_never_dies_ends_the_search_too() -> None:
    done, said = run(MadeUp(decay_s=1e4), most_rays=8192)
    assert sum("has not died away" in words for words in said) == 4
    assert not done.met.any()
    assert np.isnan(done.figures[..., T20]).all()


def test_the_same_rays_give_the_same_bits() -> None:
    assert run(MadeUp())[0].figures.tobytes() == run(MadeUp())[0].figures.tobytes()


def test_direct_sound_is_taken_out_of_its_bin_once() -> None:
    done, _ = run(MadeUp())
    before = [done.batches[:, s, 0, :, : int(at / 1e-3)] for s, at in enumerate(ARRIVALS[:, 0])]
    assert all((part == 0.0).all() for part in before)
    assert done.batches.mean(axis=0).sum(axis=-1) == pytest.approx(1.0, rel=0.02)


@pytest.mark.parametrize(
    ("more", "said"),
    [({"most_rays": 0}, "give 1024 or more"), ({"percent": -1.0}, "above zero"), ({"db": 0.0}, "above zero")],
)
def test_what_cannot_be_is_refused(more, said: str) -> None:
    sound = MadeUp()
    with pytest.raises(BounceplanError, match=said):
        run(sound, **more)
    assert sound.asked == []


def test_records_are_frozen() -> None:
    done, _ = run(MadeUp())
    assert replace(done, rays=1).rays == 1


class Lumpy(MadeUp):
    """A room whose late sound comes in few lumps: most batches of rays look alike, and then one does not."""

    def __init__(self, seed: int) -> None:
        super().__init__(per_ray=8.0)
        self.seed = seed

    def late(self, first_ray: int, rays: int, bin_s: float, length_s: float) -> np.ndarray:
        rng = np.random.default_rng((self.seed, first_ray))
        even = 0.8 * self._even(bin_s, length_s)
        energy = rng.poisson(even * self.per_ray * rays) / (self.per_ray * rays)
        lumps = rng.poisson(rays / LUMP_RAYS, 3)
        places = even.shape[-1] // 2
        for octave, count in enumerate(lumps):
            for place in rng.integers(0, places, count):
                energy[:, :, octave, place] += LUMP * LUMP_RAYS / rays * even[:, :, octave, place]
        return energy


LUMP_RAYS, LUMP = 3000.0, 2.0


def test_the_error_that_is_told_covers_what_it_says() -> None:
    """T20 of 200 seeds at `--error 1%` against their own mean: as far off as their errors say.

    66 % lie within one error and 94 % within two (normal distribution: 68 and 95 %); 16 to 32 batches do not know their
    own spread better than to a fifth.  Stopping at the first look that seems good enough had 1.6 errors rms here.
    """
    found, told = [], []
    for seed in range(200):
        done, _ = run(Lumpy(seed), percent=1.0, db=1.0, bin_s=4e-3, most_rays=2_000_000)
        found.append(done.figures[..., T20].ravel())
        told.append(done.errors[..., T20].ravel())
    times, errors = np.array(found), np.array(told)
    off = (times - times.mean(axis=0)) / errors
    assert np.sqrt((off**2).mean()) < 1.2
    assert (np.abs(off) < 1.0).mean() > 0.63
    assert (np.abs(off) < 2.0).mean() > 0.93
    assert times.std(axis=0).mean() / np.sqrt((errors**2).mean()) == pytest.approx(1.0, abs=0.15)
