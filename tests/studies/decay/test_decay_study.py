"""The tracer, the loop and the figures together, against closed formulas and against each other."""

from __future__ import annotations

import numpy as np
import pytest

from sim.blueprint.reader import SceneFile
from sim.errors import BounceplanError
from sim.placement.built_scene import BuiltScene, build_scene
from sim.responses.transition import judged_from_hz
from sim.studies.decay.records import DecayStudy
from sim.studies.decay.room_metrics import FIGURES
from sim.studies.decay.study import study_decay
from tests.studies.decay.decay_studies import traced
from tests.studies.little_room import DESK, little_room

ABSORPTION = "absorption = [0.1, 0.1, 0.1, 0.1, 0.1, 0.1, 0.1, 0.1]"
FAR_SEAT = '[listener.second_seat]\nname = "sofa"\near = { from_front = 3.4, from_left = 1.2, up = 1.1 }\n'


def built_from(scene: SceneFile) -> BuiltScene:
    return build_scene(scene.blueprint, scene.folder)


@pytest.fixture(scope="module")
def diffuse() -> DecayStudy:
    """A room of one material that takes a fifth and scatters all of the rest: as near to theory as rooms come."""
    scene = little_room(FAR_SEAT, old=ABSORPTION, new=f"absorption = {[0.2] * 8}\nscattering = {[1.0] * 8}")
    return study_decay(scene, built_from(scene), seed=1, most_rays=8192, percent=1.0)


def test_a_room_that_scatters_all_decays_as_eyring_says(diffuse: DecayStudy) -> None:
    # Kuttruff, Room Acoustics, 5.4: free paths that differ in length make it a few percent longer or shorter
    eyring = diffuse.diffuse.eyring_s[1:]
    assert diffuse.room.t20_s == pytest.approx(eyring, rel=0.05)
    assert diffuse.room.t30_s == pytest.approx(eyring, rel=0.06)
    assert not any("Eyring" in words for words in diffuse.cautions)


def test_direct_sound_stands_over_the_rest_as_the_critical_distance_says(diffuse: DecayStudy) -> None:
    """Diffuse sound without the direct one: 4 (1 - a)/(S a) against 1/(4 pi r^2) (Kuttruff; Kinsler)."""
    surface, alpha = diffuse.diffuse.surface_m2, 0.2
    direct, error = diffuse.figure("direct_db")
    for s, place, name, _ in diffuse.pairs():
        one = next(each for each in diffuse.built.loudspeakers if each.name == name)
        away = np.linalg.norm(one.axis_point - diffuse.built.ears[place])
        ratio = (1.0 / (4.0 * np.pi * away**2)) / (4.0 * (1.0 - alpha) / (surface * alpha))
        # first echoes are louder near walls than the mean of the room, and late ones fall with distance
        assert direct[s, place, :4] == pytest.approx(10.0 * np.log10(ratio), abs=1.2)
    assert (direct[:, 0] > direct[:, 1] + 3.0).all(), "the sofa is farther away"
    assert (error < 0.3).all()


def test_every_seat_has_its_figures(diffuse: DecayStudy) -> None:
    assert diffuse.figures.shape == (2, 2, 7, len(FIGURES))
    assert [each[2:] for each in diffuse.pairs()] == [
        ("left", "ear"),
        ("left", "sofa"),
        ("right", "ear"),
        ("right", "sofa"),
    ]
    assert {(gap.loudspeaker, gap.listener) for gap in diffuse.gaps} == {each[2:] for each in diffuse.pairs()}
    clear, _ = diffuse.figure("c50_db")
    assert (clear[:, 0] > clear[:, 1]).all()


def test_images_and_rays_share_the_sound_whatever_the_order() -> None:
    """No path twice, none lost: the same figures from images of order 1 and of order 4, within their errors."""
    found = []
    for order in (1, 4):
        scene = little_room(f"{DESK}\n[method]\norder = {order}\n")
        found.append(study_decay(scene, built_from(scene), seed=order, most_rays=16_384, percent=0.5))
    few, many = found
    for name in ("t20_s", "c50_db", "c80_db", "ts_ms", "direct_db"):
        (one, uncertainty), (other, its_uncertainty) = few.figure(name), many.figure(name)
        off = (one - other) / np.hypot(uncertainty, its_uncertainty)
        assert np.sqrt((off**2).mean()) < 2.0, name
        assert np.abs(off).max() < 5.0, name


def test_hidden_direct_sound_is_said_and_the_decay_is_still_told() -> None:
    """A cupboard between the left loudspeaker and the ear."""
    cupboard = (
        '[[furniture]]\nkind = "cupboard"\nname = "cupboard"\nfrom_front = [0.9, 1.2]\nfrom_left = [1.0, 1.6]\n'
        'up = [0.0, 1.6]\nmaterial = "hard"\n'
    )
    scene = little_room(cupboard)
    study = study_decay(scene, built_from(scene), seed=1, most_rays=4096)
    direct, _ = study.figure("direct_db")
    assert np.isnan(direct[0]).all() and np.isfinite(direct[1]).all()
    assert [words for words in study.cautions if words.startswith("left at the ear: something hides the direct sound")]
    times, errors = study.figure("t20_s")
    assert (np.abs(times[0] - times[1]) < 5.0 * np.hypot(errors[0], errors[1]) + 0.1 * times[1]).all()
    assert study.level_db[0, 0, :, 0] == pytest.approx(0.0, abs=1e-9)


def test_transition_and_what_is_judged() -> None:
    """One lowest frequency for all questions: 2000 sqrt(T/V) with the scene's T, else 0.25 (V/100)^(1/3) s.

    Schroeder's frequency; nominal time of ITU-R BS.1116-3, from memory.
    """
    study = traced()
    volume = study.built.volume_m3
    assert study.transition_hz == pytest.approx(2000.0 * np.sqrt(0.25 * (volume / 100.0) ** (1.0 / 3.0) / volume))
    assert study.transition_hz == judged_from_hz(study.scene.blueprint, study.built)
    assert (study.judged == ((study.octaves.lower_hz >= study.transition_hz) | (study.octaves.nominal_hz > 1999))).all()
    for octave, verdict in enumerate(study.verdicts):
        assert (verdict.answer == "not judged by rays") == (not study.judged[octave])


def test_early_reflections_meet_both_targets() -> None:
    """The desk mirrors at once and hard walls follow, all louder than either target allows."""
    study = traced()
    for own, ruled in zip(study.early, study.early_rule, strict=True):
        assert (own.loudspeaker, own.listener) == (ruled.loudspeaker, ruled.listener)
        assert not own.met and not ruled.met
        assert len(ruled.offenders) <= len(own.offenders), "-10 dB for 15 ms asks less than -15 dB for 20 ms"
    # desk at 0.74 m, ear and loudspeaker at 1.2 m, 1 m apart in depth, 0.6 m across: image source by hand
    far, near = np.sqrt(1.0**2 + 0.6**2 + 0.92**2), np.sqrt(1.0**2 + 0.6**2)
    speed = study.built.air.speed_of_sound_m_s
    assert [gap.gap_ms for gap in study.gaps] == pytest.approx([1000.0 * (far - near) / speed] * 2, abs=1e-6)
    assert study.gaps[0].way == "desk top"


def test_long_decays_are_kept_in_wider_bins() -> None:
    scene = little_room(old=ABSORPTION, new=f"absorption = {[0.02] * 8}\nscattering = {[0.5] * 8}")
    study = study_decay(scene, built_from(scene), seed=1, most_rays=1024)
    assert study.bin_s == pytest.approx(5e-4 * np.ceil(study.length_s / 2.0), abs=5e-4 + 1e-9)
    assert study.bin_s > 5e-4
    low = study.octaves.nominal_hz <= 1000.0
    assert study.room.t20_s[low] == pytest.approx(study.diffuse.eyring_s[1:][low], rel=0.08)


def test_curves_begin_with_all_that_follows_direct_sound() -> None:
    study = traced()
    direct, _ = study.figure("direct_db")
    start = -10.0 * np.log10(1.0 + 10.0 ** (direct / 10.0))
    assert study.level_db[..., 0] == pytest.approx(start, abs=1e-9)
    assert (np.diff(np.maximum(study.level_db, -200.0), axis=-1) <= 1e-12).all()
    assert (study.level_error_db[..., :50] < 1.5).all()
    assert study.time_s[1] == pytest.approx(1e-3)


def test_the_same_seed_is_the_same_on_any_number_of_threads() -> None:
    scene = little_room(DESK)
    one = study_decay(scene, built_from(scene), seed=1, most_rays=2048, workers=1)
    assert one.figures.tobytes() == traced().figures.tobytes()
    assert one.level_error_db.tobytes() == traced().level_error_db.tobytes()


def test_what_cannot_be_is_refused_before_anything_is_traced() -> None:
    scene = little_room()
    for wrong, said in (({"most_rays": 3}, "give 1024"), ({"percent": -2.0}, "above zero"), ({"seed": -1}, "seed")):
        with pytest.raises(BounceplanError, match=said):
            study_decay(scene, built_from(scene), **{"seed": 1, "most_rays": 2048, **wrong})


def test_a_room_that_takes_all_has_no_decay_to_tell() -> None:
    scene = little_room(old=ABSORPTION, new=f"absorption = {[1.0] * 8}")
    study = study_decay(scene, built_from(scene), seed=1, most_rays=1024)
    assert np.isnan(study.figure("t20_s")[0]).all()
    assert {verdict.answer for verdict in study.verdicts} == {"not judged by rays", "not known"}
    assert np.isfinite(study.transition_hz)
