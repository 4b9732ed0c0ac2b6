"""Measurements over a desk whose truth is boundary elements: two points, one ear, a rigid desk and a rigid floor.

    python -m tests.builders.desk_measurements    # rewrites tests/builders/data/desk_measurements.json (ten minutes)

Pressure over that of the free field every 100 Hz up to 3.2 kHz (`near_bem`, 4.5 panels a wavelength), which is a
response of 10 ms: direct sound, desk, floor and all edges, with nothing of the program in it.
"""

from __future__ import annotations

import json
from functools import partial
from pathlib import Path

import numpy as np
from scipy.io import wavfile

from tests.builders.near_bem import images, radiated, solve
from tests.builders.near_scenes import FLOOR, NearScene, Point, desk
from tests.builders.plate_bem import SPEED_M_S

SAVED = Path(__file__).parent / "data" / "desk_measurements.json"
STEP_HZ, TO_HZ = 100.0, 3200.0
PANELS_A_WAVELENGTH, LARGEST_M = 4.5, 0.05
RATE_HZ = 48_000
NOISE_DB = -55.0
SOURCES: tuple[Point, ...] = ((2.95, 3.45, 1.15), (2.95, 4.55, 1.15))
EAR: Point = (4.1, 4.0, 1.2)
SCENES = {
    "bare desk": NearScene("desk", (desk(),), sources=SOURCES, ears=(EAR,)),
    "desk over a floor": NearScene("desk", (desk(),), FLOOR, sources=SOURCES, ears=(EAR,)),
}


def make(name: str) -> None:
    """Solve one scene and store it beside the others."""
    scene = SCENES[name]
    sources, ears = np.array(scene.sources), np.array(scene.ears)
    mirrors, alone = images(scene.planes), images([])
    incident = partial(_incident, sources, mirrors)
    ratios = []
    for hz in np.arange(STEP_HZ, TO_HZ + 1.0, STEP_HZ):
        step = min(LARGEST_M, SPEED_M_S / hz / PANELS_A_WAVELENGTH)
        total, panels = solve([piece.box for piece in scene.pieces], scene.planes, incident, ears, float(hz), step)
        ratio = (total / radiated(sources, ears, 2.0 * np.pi * hz / SPEED_M_S, alone))[0]
        ratios.append([[round(float(one.real), 5), round(float(one.imag), 5)] for one in ratio])
        print(name, hz, panels, flush=True)  # noqa: T201
    stored = json.loads(SAVED.read_text(encoding="utf-8")) if SAVED.is_file() else {}
    stored[name] = ratios
    SAVED.write_text(json.dumps(dict(sorted(stored.items()))) + "\n", encoding="utf-8")


def _incident(sources: np.ndarray, mirrors: tuple[np.ndarray, np.ndarray], points: np.ndarray, k: float) -> np.ndarray:
    return radiated(sources, points, k, mirrors)


def write_measurement(name: str, folder: Path, seed: int = 1) -> list[Path]:
    """WAV files of what a microphone at the ear hears of each source, with noise, 48 kHz, direct sound at 5 ms."""
    ratios = np.array(json.loads(SAVED.read_text(encoding="utf-8"))[name]) @ [1.0, 1j]  # (f, source)
    count, rng, files = round(RATE_HZ / STEP_HZ), np.random.default_rng(seed), []
    hz = STEP_HZ * np.arange(1, len(ratios) + 1)
    fall = np.cos(0.5 * np.pi * np.clip((hz / TO_HZ - 0.6) / 0.4, 0.0, 1.0)) ** 2  # steeper, and the pulse rings
    for source, ratio in enumerate(ratios.T):
        spectrum = np.zeros(count // 2 + 1, dtype=complex)
        spectrum[1 : len(hz) + 1] = ratio * fall * np.exp(-2j * np.pi * hz * 2e-3)
        spectrum[0] = spectrum[1].real
        wave = np.concatenate([np.zeros(144), np.fft.irfft(spectrum, count), np.zeros(4800)])
        wave = wave / np.abs(wave).max() * 0.5
        wave += 0.5 * 10.0 ** (NOISE_DB / 20.0) * rng.normal(size=len(wave)) / 3.0
        files.append(folder / f"{name.replace(' ', '-')}-{source + 1}.wav")
        wavfile.write(files[-1], RATE_HZ, wave.astype(np.float32))
    return files


if __name__ == "__main__":
    for one in SCENES:
        make(one)
