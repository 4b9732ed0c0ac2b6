"""What `listen` makes, says and refuses."""

from __future__ import annotations

import csv
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from scipy.io import wavfile

import sim
from sim.__main__ import main
from sim.errors import SceneError
from sim.measuring.wave_files import read_wave
from sim.responses.records import Results
from sim.studies.listen.levels import loudness_lufs, true_peak_db
from tests.builders.measured_rooms import random_room, traced
from tests.measuring.test_head_files import write_head
from tests.room_texts import room_text

RATE_HZ = 48_000


def phrase(level: float = 0.1, seconds: float = 1.5, channels: int = 2) -> np.ndarray:
    """Bursts of noise (n, channel), made up."""
    count = round(seconds * RATE_HZ)
    bursts = np.sin(2.0 * np.pi * 3.0 * np.arange(count) / RATE_HZ) > 0.0
    return np.asarray(level * bursts[:, None] * np.random.default_rng(4).uniform(-1.0, 1.0, size=(count, channels)))


@pytest.fixture(scope="module")
def programme(tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("programme") / "phrase.wav"
    wavfile.write(place, RATE_HZ, phrase().astype(np.float32))
    return place


@pytest.fixture(scope="module")
def box(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Results]:
    folder = tmp_path_factory.mktemp("room")
    return folder / "4.toml", traced(random_room(4, folder))


def test_files_are_equally_loud_and_never_louder(programme: Path, traced_attic: Results, tmp_path: Path) -> None:
    made = sim.listen(traced_attic, programme, without=["desk", "left slope"])
    names = {"both.wav", "left.wav", "right.wav", "direct.wav", "without_desk.wav", "without_left_slope.wav"}
    place = sim.save(made, tmp_path / "out")
    assert {each.name for each in place.iterdir()} == {*names, "levels.csv", "listen.txt", "contents.txt"}
    own = loudness_lufs(read_wave(programme).samples, RATE_HZ)
    for name in names:
        found = read_wave(place / name)
        assert found.samples.shape[0] == 2 and found.rate_hz == RATE_HZ
        assert loudness_lufs(found.samples, RATE_HZ) == pytest.approx(made.loudness_lufs, abs=0.05)
    assert made.loudness_lufs <= own + 1e-9 and made.own_lufs == pytest.approx(own)
    assert [row["file"] for row in made.rows()] == [one.name for one in made.files]
    with (place / "levels.csv").open(encoding="utf-8") as file:
        assert [row["file"] for row in csv.DictReader(file)] == [one.name for one in made.files]


def test_a_programme_at_full_scale_does_not_clip(box: tuple[Path, Results], tmp_path: Path) -> None:
    """Its own peaks touch full scale: all files come down together, below -1 dB between samples too."""
    wavfile.write(tmp_path / "hot.wav", RATE_HZ, (32767 * np.sign(phrase())).astype(np.int16))
    made = sim.listen(box[1], tmp_path / "hot.wav")
    assert made.loudness_lufs < made.own_lufs
    assert max(one.true_peak_db for one in made.files) == pytest.approx(-1.2, abs=0.01)
    assert "no peak comes within 1 dB of full scale" in sim.words(made)
    for one in sim.save(made, tmp_path / "out").glob("*.wav"):
        assert true_peak_db(read_wave(one).samples) < -1.0


def test_direct_sound_is_the_programme_itself(box: tuple[Path, Results], programme: Path) -> None:
    """A monitor that is a point has no tone of its own: every octave keeps its level, but for what the air takes."""
    made = sim.listen(box[1], programme)
    (direct,) = (one.samples for one in made.files if one.name == "direct.wav")
    sent = read_wave(programme).samples
    for side in (0, 1):
        count = 2 * direct.shape[1]
        power = [np.abs(np.fft.rfft(wave[side], count)) ** 2 for wave in (direct, sent)]
        hz = np.fft.rfftfreq(count, 1.0 / RATE_HZ)
        edges = 125.0 * 2.0 ** np.arange(8) / np.sqrt(2.0)
        gains = [
            10.0 * np.log10(power[0][inside].sum() / power[1][inside].sum())
            for inside in ((hz >= low) & (hz < high) for low, high in pairwise(edges))
        ]
        assert np.ptp(gains[:4]) < 0.02
        assert -0.3 < min(gains) - gains[0] <= max(gains) - gains[0] < 0.02


def test_a_side_that_is_silent_gets_no_file(box: tuple[Path, Results], tmp_path: Path) -> None:
    """Sound on the left channel alone comes from the monitor on the left alone."""
    wave = phrase()
    wave[:, 1] = 0.0
    wavfile.write(tmp_path / "side.wav", RATE_HZ, wave.astype(np.float32))
    made = sim.listen(box[1], tmp_path / "side.wav")
    files = {one.name: one.samples for one in made.files}
    assert set(files) == {"both.wav", "left.wav", "direct.wav"}
    assert np.abs(files["both.wav"][1]).max() < 1e-9 < 1e-2 < np.abs(files["both.wav"][0]).max()
    assert "right channel is silent" in sim.words(made)


def test_one_channel_goes_to_both_monitors(box: tuple[Path, Results], tmp_path: Path) -> None:
    wavfile.write(tmp_path / "one.wav", 44_100, phrase(channels=1)[:, 0].astype(np.float32))
    made = sim.listen(box[1], tmp_path / "one.wav")
    both = next(one.samples for one in made.files if one.name == "both.wav")
    assert made.rate_hz == 44_100 and np.abs(both).max(axis=1).min() > 1e-3
    assert "both play its only channel" in sim.words(made)


def test_the_command_and_another_layout(
    box: tuple[Path, Results], programme: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    scene = str(box[0])
    other = tmp_path / "other.toml"
    text = box[0].read_text(encoding="utf-8").replace('title = "measured 4"', 'title = "another"')
    other.write_text(text.replace("up = 1.", "up = 1.0"), encoding="utf-8")
    options = ["-o", str(tmp_path / "out"), "--against", str(other), "--without", "floor"]
    assert main(["listen", scene, str(programme), *options]) == 0
    said = capsys.readouterr().out
    for words in (
        "Equally loud by ITU-R BS.1770",
        "Turn the headphones down",
        "What this cannot tell",
        "no head in it",
    ):
        assert words in said
    assert {"other.wav", "without_floor.wav"} <= {each.name for each in (tmp_path / "out").iterdir()}
    assert "without_desk.wav" not in said
    assert main(["listen", scene, str(programme), *options]) == 2
    assert "exists" in capsys.readouterr().err


def test_a_head_that_the_person_brings(
    box: tuple[Path, Results], programme: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Its ears differ, so both channels hold both monitors; what is nearest is said, and that ears are one's own."""
    head = write_head(tmp_path / "head.sofa")
    options = ["-o", str(tmp_path / "out"), "--head", str(head)]
    assert main(["listen", str(box[0]), str(programme), *options]) == 0
    said = capsys.readouterr().out
    assert "The ears of head.sofa are not yours" in said and "degrees from where a strong path arrives" in said
    assert "There is no head" not in said
    left = read_wave(tmp_path / "out" / "left.wav").samples
    level = 10.0 * np.log10(np.mean(left**2, axis=1))
    assert 1.0 < level[0] - level[1] < 12.0  # heard on the left first of all, and on the right too
    assert main(["listen", str(box[0]), str(programme), "-o", str(tmp_path / "b"), "--head", str(programme)]) == 2
    error = capsys.readouterr().err
    assert "phrase.wav: it is not an AES69" in error and "finding paths" not in error


@pytest.mark.parametrize(
    ("across", "files", "said"),
    [
        ((1.4,), {"both.wav", "direct.wav"}, "m1 plays it."),
        (
            (2.0, 1.5, 0.9),
            {"both.wav", "left.wav", "right.wav", "direct.wav"},
            "m3 plays its left channel, m1 its right",
        ),
    ],
)
def test_one_monitor_and_three(across: tuple[float, ...], files: set[str], said: str, programme: Path) -> None:
    """One plays both channels; of three, that in the middle is silent, whatever their order in the file."""
    monitors = {f"m{number}": (0.6, place, 1.2) for number, place in enumerate(across, 1)}
    made = sim.listen(room_text((3.0, 4.0, 2.4), (1.8, 1.5, 1.2), monitors, more="[method]\norder = 1\n"), programme)
    assert {one.name for one in made.files} == files
    words = sim.words(made)
    assert said in words and ("m2 is silent" in words) == (len(across) == 3)
    for one in made.files:
        assert loudness_lufs(one.samples, made.rate_hz) == pytest.approx(made.loudness_lufs, abs=0.01)


def test_names_that_are_not_there(box: tuple[Path, Results], programme: Path) -> None:
    with pytest.raises(SceneError, match='nothing that early sound meets is called "flor"; perhaps you mean "floor"'):
        sim.listen(box[1], programme, without=["flor"])
    with pytest.raises(SceneError, match='listener: none is called "sofa"'):
        sim.listen(box[1], programme, listener="sofa")
    with pytest.raises(SceneError, match="these results are traced already"):
        sim.listen(box[1], programme, order=2)


@pytest.mark.parametrize(
    ("kind", "said"),
    [
        ("silent", "it is silent"),
        ("quiet", "it is too quiet for its loudness to be told"),
        ("short", "it lasts 0.1 s; bring at least 0.5 s"),
        ("one-sample", "it holds 1 sample"),
        ("hour", "it is 60.0 minutes long; cut it to the passage"),
        ("slow", "it was sampled at 4000 Hz; export it at 8000 to 192000 Hz"),
        ("nan", "it holds numbers that are not finite"),
        ("words", "it is not a WAV file that can be read"),
        ("six", "it has 6 channels; export it with one channel, or two"),
        ("missing", "there is no such file"),
    ],
)
def test_bad_programmes_get_one_sentence(
    kind: str, said: str, box: tuple[Path, Results], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    place, waves = (
        tmp_path / f"{kind}.wav",
        {
            "silent": (RATE_HZ, np.zeros(RATE_HZ, dtype=np.int16)),
            "quiet": (RATE_HZ, phrase(2e-5).astype(np.float32)),
            "short": (RATE_HZ, phrase(seconds=0.1).astype(np.float32)),
            "one-sample": (RATE_HZ, np.ones(1, dtype=np.int16)),
            "hour": (1_000, np.ones(1_000 * 3600, dtype=np.uint8)),
            "slow": (4_000, np.ones(8_000, dtype=np.int16)),
            "nan": (RATE_HZ, np.full(RATE_HZ, np.nan, dtype=np.float32)),
            "six": (RATE_HZ, phrase(channels=6).astype(np.float32)),
        },
    )
    if kind in waves:
        wavfile.write(place, *waves[kind])
    elif kind == "words":
        place.write_text("no sound")
    assert main(["listen", str(box[0]), str(place), "-o", str(tmp_path / "out")]) == 2
    error = capsys.readouterr().err
    assert said in error
    assert "finding paths" not in error or kind == "quiet"
    assert not (tmp_path / "out").exists()
