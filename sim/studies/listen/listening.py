"""The question: a programme as it would sound at the seat, with and without things, files equally loud."""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path
from typing import Final, NamedTuple

import numpy as np
from scipy.signal import oaconvolve

from sim.arrays import ComplexArray, FloatArray, frozen
from sim.blueprint.error_messages import closest, number_of
from sim.blueprint.reader import AnyScene
from sim.errors import SceneError
from sim.measuring.head_files import read_head_file
from sim.measuring.wave_files import Recording, read_wave, refuse_silence, silent_channels
from sim.pipeline import build
from sim.placement.built_scene import BuiltScene
from sim.progress import Report, say_nothing
from sim.responses.records import Results
from sim.showing.archive.kept_traces import results_of
from sim.showing.child_drawing import file_name
from sim.studies.listen.early_sound import EarlySound, filter_taps
from sim.studies.listen.levels import SHORTEST_S, common_loudness, loudness_lufs, true_peak_db
from sim.studies.listen.records import Listening, Rendering

RATES_HZ: Final = (8_000, 192_000)
MOST_WITHOUT: Final = 8


def listen(
    scene: AnyScene | Results,
    programme: Path | str,
    report: Report = say_nothing,
    *,
    against: AnyScene | Results | None = None,
    without: Sequence[str] | None = None,
    head: Path | str | None = None,
    listener: str | None = None,
    order: int | None = None,
) -> Listening:
    """Make of a programme what the early sound of a scene makes of it, in files that are equally loud.

    Parameters
    ----------
    scene
        The scene, or what `trace` returned of it.
    programme
        WAV file of one or two channels: the left one goes to the monitor on the left, the right one to that on the
        right, a single one to both.
    report
        Called with a few words at the start of each stage.
    against
        A second layout of the room.
    without
        Names of furniture, panels or surfaces, each left out in a file of its own; left out, the desk.
    head
        AES69 file of head-related responses (SimpleFreeFieldHRIR).
    listener
        Where it is heard; left out, the ear.
    order
        Most surfaces a path may touch, where a scene is still to be traced.

    Raises
    ------
    SceneError
        If a file or a scene cannot be read, or names do not fit.
    """
    heard = read_programme(programme)
    known = None if head is None else read_head_file(Path(os.fspath(head)))
    scenes = [scene] if against is None else [scene, against]
    for each in scenes:  # names are checked before the long part
        _place(each.built if isinstance(each, Results) else build(each)[1], listener)
    traced = [results_of(each, report, order=order) for each in scenes]
    report("working out what is heard")
    first = traced[0]
    place = _place(first.built, listener)
    sound = EarlySound(first, place, known)
    left_out = _left_out(first, without)
    drawn = _drawn(first, sound, left_out, heard)
    if against is not None:
        other = EarlySound(traced[1], _place(traced[1].built, listener), known)
        both = _played(other.spectra(), traced[1], other.window_ms, heard)
        drawn.append(_Drawn("other.wav", "both monitors, the other layout", both.together()))
    report("making files equally loud")
    loudness = [loudness_lufs(one.samples, heard.rate_hz) for one in drawn]
    own = loudness_lufs(heard.samples, heard.rate_hz)
    wanted, gains = common_loudness(own, loudness, [true_peak_db(one.samples) for one in drawn])
    files = []
    for one, gain in zip(drawn, gains, strict=True):
        samples = one.samples * 10.0 ** (gain / 20.0)
        files.append(Rendering(one.name, one.words, gain, true_peak_db(samples), frozen(samples)))
    left, right = _players(first.built)
    names = [one.name for one in first.built.loudspeakers]
    return Listening(
        first.scene.blueprint.title,
        "" if against is None else traced[1].scene.blueprint.title,
        heard.name,
        heard.rate_hz,
        heard.seconds,
        first.built.listener_names[place],
        (names[left], names[right]),
        tuple(name for number, name in enumerate(names) if number not in (left, right)),
        tuple(k for k in range(len(heard.samples)) if k not in silent_channels(heard)),
        len(heard.samples),
        sound.window_ms,
        first.responses.transition_hz,
        own,
        wanted,
        "" if known is None else known.name,
        sound.farthest_deg,
        tuple(files),
    )


def read_programme(file: Path | str) -> Recording:
    """Read a programme; SceneError for one that cannot be listened to."""
    heard = read_wave(Path(os.fspath(file)), "passage")
    refuse_silence(heard)
    if not RATES_HZ[0] <= heard.rate_hz <= RATES_HZ[1]:
        raise SceneError(
            heard.name,
            f"it was sampled at {heard.rate_hz} Hz",
            f"export it at {RATES_HZ[0]} to {RATES_HZ[1]} Hz, best at 48000",
        )
    if heard.seconds < SHORTEST_S:
        raise SceneError(
            heard.name, f"it lasts {heard.seconds:.2g} s", f"bring at least {SHORTEST_S:g} s, best a phrase of 10 s"
        )
    return heard


def _place(built: BuiltScene, listener: str | None) -> int:
    return 0 if listener is None else number_of("listener", listener, built.listener_names)


def _players(built: BuiltScene) -> tuple[int, int]:
    """Numbers of the loudspeakers furthest to the left and to the right."""
    across = [float(one.axis_point[1]) for one in built.loudspeakers]
    return int(np.argmin(across)), int(np.argmax(across))


def _left_out(results: Results, without: Sequence[str] | None) -> list[str]:
    """Names of what is left out in turn."""
    response = results.responses.response
    if without is None:
        desks = [item.name for item in results.scene.blueprint.furniture if item.worked_at]
        return [name for name in desks if name in response.pieces]
    known = list(dict.fromkeys([*response.pieces, *response.panels, *response.surfaces]))
    for name in without:
        if name not in known:
            raise SceneError(
                "without", f'nothing that early sound meets is called "{name}"', closest(name, known, what="names")
            )
    if len(without) > MOST_WITHOUT:
        raise SceneError("without", f"{len(without)} things are given", f"give {MOST_WITHOUT} at most")
    return list(dict.fromkeys(without))


# What each monitor's sound is at the ears.


class _Drawn(NamedTuple):
    """A file before its level is made."""

    name: str
    words: str
    samples: FloatArray


class _Played(NamedTuple):
    """Programme over the monitors on the left and on the right, each (ear, n); one ear where there is no head."""

    left: FloatArray
    right: FloatArray

    def together(self) -> FloatArray:
        """Both play: (2, n).  Without a head each has a channel of its own."""
        if len(self.left) == 1:
            return np.vstack([self.left, self.right])
        return np.asarray(self.left + self.right)

    def alone(self, side: int) -> FloatArray:
        """One plays: (2, n); without a head both channels are alike, as one microphone hears it."""
        return np.asarray(np.broadcast_to(self[side], (2, self.left.shape[1])))


def _played(spectra: ComplexArray, results: Results, window_ms: float, heard: Recording) -> _Played:
    hz, numbers = results.responses.response.frequencies_hz, _players(results.built)
    taps = filter_taps(spectra[list(numbers)], hz, heard.rate_hz, window_ms)
    if numbers[0] == numbers[1]:  # one monitor plays what there is
        one = np.array([oaconvolve(heard.samples.mean(axis=0), ear) for ear in taps[0]])
        return _Played(one, one)
    left, right = heard.samples[0], heard.samples[-1]
    return _Played(
        np.array([oaconvolve(left, ear) for ear in taps[0]]), np.array([oaconvolve(right, ear) for ear in taps[1]])
    )


def _drawn(results: Results, sound: EarlySound, left_out: Sequence[str], heard: Recording) -> list[_Drawn]:
    def played(spectra: ComplexArray) -> _Played:
        return _played(spectra, results, sound.window_ms, heard)

    left, right = _players(results.built)
    names = [one.name for one in results.built.loudspeakers]
    whole, direct = played(sound.spectra()), played(sound.spectra(direct_only=True))
    if left == right:
        found = [
            _Drawn("both.wav", f"the only monitor, {names[left]}", whole.together()),
            _Drawn("direct.wav", "its direct sound only", direct.together()),
        ]
    else:
        found = [_Drawn("both.wav", "both monitors", whole.together())]
        for side, (word, number) in enumerate((("left", left), ("right", right))):
            if min(side, len(heard.samples) - 1) not in silent_channels(heard):
                words = f"the monitor on the {word} alone, {names[number]}"
                found.append(_Drawn(f"{word}.wav", words, whole.alone(side)))
        found.append(_Drawn("direct.wav", "both, direct sound only", direct.together()))
    for name in left_out:
        file = f"without_{file_name(name)}"
        file += "_too" * any(one.name == f"{file}.wav" for one in found)
        found.append(_Drawn(f"{file}.wav", f"both, without {name}", played(sound.spectra(name)).together()))
    return found
