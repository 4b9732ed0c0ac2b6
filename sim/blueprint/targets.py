"""What early reflections should stay below: a level, a time window and a band, or a preset named by its numbers."""

from __future__ import annotations

from typing import Any, Final, Literal, Self

from pydantic import Field, model_validator

from sim.blueprint.records import Record

PresetName = Literal["-10 dB to 15 ms", "-15 dB to 20 ms", "-20 dB to 20 ms"]

PRESETS: Final[dict[str, dict[str, Any]]] = {
    "-10 dB to 15 ms": {"level_db": -10.0, "window_ms": (0.0, 15.0), "band_hz": (1000.0, 8000.0)},
    "-15 dB to 20 ms": {"level_db": -15.0, "window_ms": (0.0, 20.0), "band_hz": (1000.0, 8000.0)},
    "-20 dB to 20 ms": {"level_db": -20.0, "window_ms": (0.0, 20.0), "band_hz": (500.0, 8000.0)},
}
"""The first as in ITU-R BS.1116-3 section 8 and EBU Tech 3276 section 2.2 (values from memory; one later article
asks for 15 dB); the second is an everyday working target (common practice, no source); the third is that of
reflection-controlled rooms (BBC Research Department, 1993-95, from memory)."""


class Target(Record):
    """What early reflections should stay below; a preset fills in what is not given."""

    preset: PresetName | None = Field(default=None, description="a target named by its numbers")
    level_db: float = Field(default=-15.0, ge=-60.0, le=0.0, description="re direct sound in the same band")
    window_ms: tuple[float, float] = Field(default=(0.0, 20.0), description="after the direct sound")
    band_hz: tuple[float, float] = Field(default=(1000.0, 8000.0), description="octaves whose middle lies in it")

    @model_validator(mode="before")
    @classmethod
    def _from_preset(cls, given: Any) -> Any:
        if isinstance(given, dict) and isinstance(given.get("preset"), str):
            return {**PRESETS.get(given["preset"], {}), **given}
        return given

    @model_validator(mode="after")
    def _rising(self) -> Self:
        for key in ("window_ms", "band_hz"):
            low, high = getattr(self, key)
            if not 0.0 <= low < high:
                raise ValueError(
                    f"its {key} runs from {low:g} to {high:g}; start at zero or above and end at a larger number"
                )
        return self
