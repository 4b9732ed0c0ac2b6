"""The frequency below which single resonances of the room rule, and rays are not judged."""

from __future__ import annotations

from sim.acoustics.bands import transition_frequency_hz
from sim.blueprint.schema import Blueprint
from sim.placement.built_scene import BuiltScene


def nominal_reverberation_s(volume_m3: float) -> float:
    """0.25 s (V/100 m3)^(1/3): nominal decay time of a listening room (ITU-R BS.1116-3, value from memory)."""
    return float(0.25 * (volume_m3 / 100.0) ** (1.0 / 3.0))


def judged_from_hz(blueprint: Blueprint, built: BuiltScene) -> float:
    """Transition frequency in Hz below which single resonances rule and rays are not judged.

    Uses the measured decay time of the scene, or the nominal one of a listening room of this volume.
    """
    decay_s = blueprint.room.reverberation_time_s or nominal_reverberation_s(built.volume_m3)
    return transition_frequency_hz(decay_s, built.volume_m3)
