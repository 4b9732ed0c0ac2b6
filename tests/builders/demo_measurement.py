"""Recordings for the tutorial, of an invented finished room: the demo bedroom, the microphone 4 cm back, a wardrobe.

    python -m tests.builders.demo_measurement FOLDER    # left-heard.wav and right-heard.wav, as the tutorial has them

The room is what the program calculates, with a wardrobe in it that the scene does not have, reverberation that is made
up, noise, and a recorder whose clock runs 30 ppm off: demo data, no proof of anything.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
from scipy.io import wavfile

from sim.layouts.changes import add, change
from sim.pipeline import trace_scene
from sim.studies.listen.early_sound import filter_taps
from tests.builders.swept_rooms import record_room

SCENE = Path(__file__).resolve().parent.parent.parent / "scenes" / "bedroom-on-stands"
RATE_HZ, SWEEP_S, DRIFT_PPM, NOISE_DB = 48_000, 5.0, 30.0, -62.0
BACK_M = 0.04
WARDROBE = {
    "kind": "block",
    "name": "wardrobe",
    "from_front": [3.60, 4.20],
    "from_left": [0.60, 2.20],
    "up": [0.0, 2.10],
    "material": "wood",
}
TAIL_FROM_MS, TAIL_DB, DECAY_S = 18.0, -22.0, 0.25


def write_recordings(folder: Path) -> list[Path]:
    """Write both recordings of `bounceplan signal -o sweep.wav --seconds 5`."""
    scene = change(add(SCENE, "furniture", WARDROBE), {"ear.from_front": 1.60 + BACK_M})
    results = trace_scene(scene, maps=False, waves_to_hz=0.0)
    response, rng, files = results.responses.response, np.random.default_rng(1), []
    for number, one in enumerate(results.built.loudspeakers):
        spectrum = response.total[number, 0]
        taps = filter_taps(spectrum, response.frequencies_hz, RATE_HZ, response.window.window_ms)
        wave = np.concatenate([taps, np.zeros(RATE_HZ // 2)])
        late_s = np.arange(len(wave)) / RATE_HZ - 0.005
        tail = rng.normal(size=len(wave)) * np.exp(-6.9 * late_s / DECAY_S)
        rise = np.clip((1000.0 * late_s - TAIL_FROM_MS) / 4.0, 0.0, 1.0)
        wave += np.abs(taps).max() * 10.0 ** (TAIL_DB / 20.0) * rise * tail / 3.0
        clean = folder / f".{one.name}-room.wav"
        wavfile.write(clean, RATE_HZ, wave.astype(np.float32))
        files.append(folder / f"{one.name}-heard.wav")
        record_room(clean, files[-1], seconds=SWEEP_S, drift_ppm=DRIFT_PPM, noise_db=NOISE_DB, seed=number)
        clean.unlink()
    return files


if __name__ == "__main__":
    write_recordings(Path(sys.argv[1]))
