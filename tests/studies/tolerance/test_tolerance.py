from __future__ import annotations

from dataclasses import fields

import numpy as np
import pytest
from scipy.stats import norm

from sim.errors import SceneError
from sim.studies.tolerance.advice import advice, fractions_by_kind, sensitivities
from sim.studies.tolerance.findings import blobs, chances, fragile_answers, reaching, reflection_ranges
from sim.studies.tolerance.tolerance import Tolerance, draw, tolerance
from sim.studies.tolerance.uncertainties import TAPE_M, Uncertainty
from tests.studies.little_room import DESK, little_room, still_room

SOURCE, EAR = np.array([0.6, 1.1, 1.2]), np.array([1.6, 1.7, 1.2])
WIDTH, SPEED = 3.4, 343.2


@pytest.fixture(scope="module")
def still() -> Tolerance:
    """Only tape (and material) doubts: the case in which errors are small and everything is smooth."""
    return tolerance(still_room(), samples=256, processes=1)


def right_wall(source: np.ndarray, ear: np.ndarray, width: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Delay (n,) in ms and depth (n,) of the point of one mirror on the right wall, by the mirror formula."""
    image = source * [1.0, -1.0, 1.0] + np.array([0.0, 2.0, 0.0]) * width[:, None]
    delay = 1000.0 * (np.linalg.norm(ear - image, axis=1) - np.linalg.norm(ear - source, axis=1)) / SPEED
    fraction = (width - source[:, 1]) / (2.0 * width - source[:, 1] - ear[:, 1])
    return delay, source[:, 0] + fraction * (ear[:, 0] - source[:, 0])


def propagated(number: int) -> float:
    """Standard deviation by linear propagation: root of the sum of squares of derivatives times 5 mm."""
    step, total = 1e-5, 0.0
    for k in range(7):
        ends = []
        for way in (-1.0, 1.0):
            lengths = np.concatenate([SOURCE, EAR, [WIDTH]])
            lengths[k] += way * step
            ends.append(right_wall(lengths[None, :3], lengths[None, 3:6], lengths[6:])[number][0])
        total += ((ends[1] - ends[0]) / (2.0 * step) * TAPE_M) ** 2
    return float(np.sqrt(total))


def test_delay_and_point_scatter_as_linear_error_propagation_says(still: Tolerance) -> None:
    f = still.surfaces.index("right wall")
    delay, depth = still.figures.delay_ms[:, 0, f], still.figures.point_m[:, 0, 0, f, 0]
    assert delay.std() == pytest.approx(propagated(0), rel=0.03)
    assert depth.std() == pytest.approx(propagated(1), rel=0.03)
    nominal = right_wall(SOURCE[None], EAR[None], np.array([WIDTH]))
    assert delay.mean() == pytest.approx(nominal[0][0], rel=2e-3)
    assert depth.mean() == pytest.approx(nominal[1][0], abs=2e-4)


def test_sensitivities_are_those_of_the_derivatives(still: Tolerance) -> None:
    """The delay of the far wall: (2 derivatives of the width) and so on, each squared, over their sum."""
    figure = next(
        one
        for one in sensitivities(still)
        if (one.kind, one.loudspeaker, one.surface) == ("delay", "left", "right wall")
    )
    names = ["left.from_front", "left.from_left", "left.up", "ear.from_front", "ear.from_left", "ear.up", "room.width"]
    fractions = {
        uncertainty.name: float(fraction)
        for uncertainty, fraction in zip(still.uncertainties, figure.fractions.fraction, strict=True)
    }
    step, slopes = 1e-5, []
    for k in range(7):
        lengths = np.concatenate([SOURCE, EAR, [WIDTH]])
        lengths[k] += step
        there = right_wall(lengths[None, :3], lengths[None, 3:6], lengths[6:])[0][0]
        slopes.append((there - right_wall(SOURCE[None], EAR[None], np.array([WIDTH]))[0][0]) / step)
    wanted = np.square(slopes) / np.square(slopes).sum()
    assert [fractions[name] for name in names] == pytest.approx(wanted.tolist(), abs=0.02)
    assert figure.fractions.explained > 0.999
    assert fractions_by_kind(still, figure.fractions)["tape"] == pytest.approx(1.0, abs=0.03)


def test_the_mean_of_a_smooth_figure_nears_the_truth_faster_than_by_chance() -> None:
    """Error of the mean delay over seeds, for 64 to 1024 samples: N^-0.5 would be plain Monte Carlo."""
    uncertainties = tuple(Uncertainty(str(k), str(k), "tape", TAPE_M) for k in range(7))

    def mean(samples: int, seed: int) -> float:
        lengths = np.concatenate([SOURCE, EAR, [WIDTH]]) + draw(uncertainties, samples, seed)
        return float(right_wall(lengths[:, :3], lengths[:, 3:6], lengths[:, 6])[0].mean())

    truth = np.mean([mean(2**15, seed) for seed in range(4)])
    sizes = [64, 256, 1024]
    errors = [np.sqrt(np.mean([(mean(n, seed) - truth) ** 2 for seed in range(24)])) for n in sizes]
    slope = np.polyfit(np.log(sizes), np.log(errors), 1)[0]
    assert slope < -0.8


def test_draws_have_the_spread_they_should() -> None:
    uncertainties = (
        Uncertainty("a", "a", "tape", 0.005),
        Uncertainty("b", "b", "head", 0.15),
        Uncertainty("c", "c", "material", 1.0),
    )
    drawn = draw(uncertainties, 1000, 1)
    assert drawn.shape == (1024, 3)
    assert drawn.std(axis=0) == pytest.approx([one.standard_deviation for one in uncertainties], rel=0.01)
    assert drawn.mean(axis=0) == pytest.approx([0.0, 0.0, 0.0], abs=1e-3)
    assert np.abs(drawn[:, 1]).max() <= 0.15
    assert (draw(uncertainties, 1000, 1) == drawn).all()
    assert not (draw(uncertainties, 1000, 2) == drawn).all()


def test_the_same_seed_gives_the_same_samples_for_any_number_of_processes() -> None:
    one, two = (tolerance(little_room(DESK), samples=64, seed=5, processes=n) for n in (1, 2))
    assert (one.offsets == two.offsets).all()
    for each in fields(one.figures):
        np.testing.assert_array_equal(getattr(one.figures, each.name), getattr(two.figures, each.name))


def test_an_answer_on_the_brink_is_fragile_with_the_share_of_the_normal_law() -> None:
    """The desk ends d before the mirror point; both edge and point scatter, and the point reaches in Phi(d/sigma).

    Point of source height a and ear height b over the desk: a/(a + b) of the way in depth.  Its derivatives: 1 - share
    for the source's depth, share for the ear's, and (ear - source) b/(a + b)^2 and -a/(a + b)^2 for the heights, which
    both shrink with the height of the desk; 1 for the edge.
    """
    a, b, way = 1.2 - 0.74, 1.2 - 0.74, 1.0
    fraction = a / (a + b)
    by_a, by_b = way * b / (a + b) ** 2, -way * a / (a + b) ** 2
    derivatives = [1.0 - fraction, fraction, by_a, by_b, by_a + by_b, 1.0]
    sigma = TAPE_M * np.sqrt(np.square(derivatives).sum())
    edge = 0.6 + fraction * way + 0.004
    found = tolerance(still_room(DESK.replace("[0.5, 1.2]", f"[0.5, {edge:.4f}]")), samples=512, processes=1)
    f = found.surfaces.index("desk top")
    chance = norm.cdf(0.004 / sigma)
    by_chance = 2.0 * np.sqrt(chance * (1.0 - chance) / 512.0)  # two standard errors of plain drawing
    assert reaching(found)[:, 0, 0, f].mean() == pytest.approx(chance, abs=by_chance)
    answers = {(one.loudspeaker, one.surface): one for one in fragile_answers(found)}
    desk = answers[("left", "desk top")]
    assert desk.now == "reaches"
    assert desk.flips == pytest.approx(1.0 - chance, abs=by_chance)
    assert desk.reaches + desk.misses + desk.hidden == pytest.approx(1.0)
    # the edge makes 1/(sum of squares) of what decides, more than anything else
    best = advice(found, sensitivities(found))[0]
    assert best.uncertainty.name == "desk.listener_edge"
    decided = {(answer.loudspeaker, answer.surface): fraction for answer, fraction in best.answers}
    assert decided[("left", "desk top")] == pytest.approx(1.0 / np.square(derivatives).sum(), abs=0.03)


def test_nothing_is_fragile_far_from_every_rim(still: Tolerance) -> None:
    assert fragile_answers(still) == ()
    assert advice(still, sensitivities(still)) == ()


def test_blobs_hold_95_percent_of_the_points() -> None:
    found = tolerance(little_room(), samples=512, processes=1)
    made = {(one.loudspeaker, one.surface): one for one in blobs(found)}
    assert set(made) == {(name, surface) for name in ("left", "right") for surface in found.surfaces}
    for (name, surface), blob in made.items():
        s, f = found.loudspeakers.index(name), found.surfaces.index(surface)
        points = found.figures.point_m[:, s, 0, f] - blob.middle
        along = points @ blob.half_axes.T / (blob.half_axes**2).sum(axis=1)
        inside = (along**2).sum(axis=1) <= 1.0
        assert inside.mean() == pytest.approx(0.95, abs=0.004), surface
        normal = found.built.room.facets[blob.facet].normal
        assert np.abs(blob.half_axes @ normal).max() < 1e-9
        assert blob.outline(5)[0] == pytest.approx(blob.middle + blob.half_axes[0])


def test_chances_of_the_target() -> None:
    """Hard walls are over any target; where walls take nearly all, all samples meet it."""
    assert chances(tolerance(little_room(), samples=32, processes=1)) == ((0.0, 0.0), 0.0)
    soft = little_room(old="absorption = [0.1, 0.1, 0.1, 0.1, 0.1, 0.1, 0.1, 0.1]", new=f"absorption = {[0.99] * 8}")
    each, both = chances(tolerance(soft, samples=32, processes=1))
    assert each[0] > 0.2
    assert both <= min(each)


def test_ranges_hold_the_middle_nine_tenths() -> None:
    found = tolerance(little_room(), samples=256, processes=1)
    row = next(one for one in reflection_ranges(found) if (one.loudspeaker, one.surface) == ("left", "ceiling"))
    values = found.figures.worst_db[:, 0, found.surfaces.index("ceiling")]
    assert ((values >= row.level.low) & (values <= row.level.high)).mean() == pytest.approx(0.9, abs=0.01)
    assert row.level.low < row.level.nominal < row.level.high
    assert row.delay_ms.low < row.delay_ms.nominal < row.delay_ms.high
    assert row.reaches == 1.0
    levels = [one.level.middle for one in reflection_ranges(found) if one.loudspeaker == "left"]
    assert levels == sorted(levels, reverse=True)


def test_impossible_samples_are_left_out_and_told() -> None:
    """Loudspeakers up to 30 mm off hang 20 mm over a desk."""
    assert tolerance(little_room(DESK), samples=32, processes=1).impossible == 0
    found = tolerance(little_room(DESK.replace("top = 0.74", "top = 1.18")), samples=64, processes=1)
    assert 0 < found.impossible < 32
    assert len(found.offsets) == len(found.figures.early_db) == 64 - found.impossible
    assert "inside the desk" in found.reason
    with pytest.raises(SceneError, match=r"samples cannot be .* give what nearly touches more room"):
        tolerance(little_room(DESK.replace("top = 0.74", "top = 1.1985")), samples=64, processes=1)


@pytest.mark.parametrize(("samples", "seed", "said"), [(8, 1, "ask for 32 to 65,536"), (64, -3, "seed: it is -3")])
def test_bad_numbers_are_told(samples: int, seed: int, said: str) -> None:
    with pytest.raises(SceneError, match=said):
        tolerance(little_room(), samples=samples, seed=seed)
