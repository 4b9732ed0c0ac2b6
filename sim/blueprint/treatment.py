"""The target, panels as written, and what a treatment plan may use."""

from __future__ import annotations

from typing import Annotated, Any, Final, Literal, Self

from pydantic import Field, model_validator

from sim.blueprint.records import Record, Span
from sim.blueprint.units import NonNegativeLength, PositiveLength

PresetName = Literal["-10 dB to 15 ms", "-15 dB to 20 ms", "-20 dB to 20 ms"]

PRESETS: Final[dict[str, dict[str, Any]]] = {
    "-10 dB to 15 ms": {"level_db": -10.0, "window_ms": (0.0, 15.0), "band_hz": (1000.0, 8000.0)},
    "-15 dB to 20 ms": {"level_db": -15.0, "window_ms": (0.0, 20.0), "band_hz": (1000.0, 8000.0)},
    "-20 dB to 20 ms": {"level_db": -20.0, "window_ms": (0.0, 20.0), "band_hz": (500.0, 8000.0)},
}
"""The first as in ITU-R BS.1116-3 section 8 and EBU Tech 3276 section 2.2 (values from memory; one later article
asks for 15 dB); the second is an everyday working target (common practice, no source); the third is that of
reflection-controlled rooms (BBC Research Department, 1993-95, from memory)."""


Weight = Annotated[float, Field(ge=0.0, le=10.0)]


class Weights(Record):
    """What each component of the measure counts; see docs/explanation/better.md for the reasons of the defaults."""

    early: Weight = Field(default=0.5, description="early reflections above the target, dB added up")
    crossover: Weight = Field(default=0.5, description="direct sound lost off axis at the crossover, dB")
    slope: Weight = Field(default=2.0, description="tilt of the direct sound, dB per octave")
    dips: Weight = Field(default=2.0, description="wide dips, dB rms")
    left_right: Weight = Field(default=1.0, description="left against right, dB rms")


class Target(Record):
    """What early reflections should stay below; a preset fills in what is not given."""

    preset: PresetName | None = Field(default=None, description="a target named by its numbers")
    level_db: float = Field(default=-15.0, ge=-60.0, le=0.0, description="re direct sound in the same band")
    window_ms: tuple[float, float] = Field(default=(0.0, 20.0), description="after the direct sound")
    band_hz: tuple[float, float] = Field(default=(1000.0, 8000.0), description="octaves whose middle lies in it")
    weights: Weights = Field(default=Weights(), description="what each component of the measure counts")
    weighting: Literal["even", "spatial"] = Field(
        default="even", description='octaves of early reflections: all alike, or "spatial": only those from 2 kHz up'
    )

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


# Panels as written, and what a treatment plan may use: stock, number, and where nothing may go.

Mass = Annotated[float, Field(gt=0.0, le=500.0)]
Price = Annotated[float, Field(ge=0.0)]


class Panel(Record):
    """An absorber on a wall, slope or ceiling; it stands out by its material's layers and the gap behind it."""

    name: str
    surface: str = Field(description='the surface it hangs on, for example "left wall"')
    from_front: Span | None = None
    from_left: Span | None = None
    up: Span | None = None
    material: str = Field(
        description='a layered material from [materials], a build-up of the library, or words: "100 mm wool"'
    )
    gap: NonNegativeLength = Field(
        default=0.0, description="air between its back and the surface; how far a cloud hangs below the ceiling"
    )
    movable: bool = Field(default=False, description="it can be taken away, and so may stand over an opening")
    held_by: Literal["surface", "stand", "posts"] = Field(
        default="surface", description="fixed to its surface, or standing before it where nothing may be drilled"
    )
    fixings: str = Field(default="", description="how it is fixed; has to be given when any of it is over heads")
    mass_kg: Mass | None = Field(default=None, description="whole mass; left out, an estimate from its layers")
    price: Price | None = Field(default=None, description="of one, in whatever currency you plan in")
    note: str = Field(default="", description="what to mind")


# What a treatment plan may use: panels in stock, how many, and where nothing may go.

USUAL_BUILD_UP: Final = "100 mm wool"


class StockPanel(Record):
    """A panel one can buy or build, in any number unless said otherwise."""

    name: str
    size: tuple[PositiveLength, PositiveLength] = Field(description="both sides; it may be turned")
    material: str = Field(
        default=USUAL_BUILD_UP, description="a layered material of the scene, a build-up of the library, or words"
    )
    mass_kg: Mass | None = Field(default=None, description="left out, an estimate from its layers and a frame")
    price: Price | None = Field(default=None, description="of one")
    available: Annotated[int, Field(ge=1)] | None = Field(default=None, description="left out, as many as needed")


USUAL_STOCK: Final = (StockPanel(name="panel 600 x 1200 x 100", size=(0.60, 1.20), material=USUAL_BUILD_UP),)
"""The size most panels are sold in, of 100 mm wool (common practice, no source)."""
USUAL_STOCK_IN: Final = (StockPanel(name="panel 24 x 48 x 4 in", size=(0.6096, 1.2192), material="4 in wool"),)
"""The same where people measure in inches (common practice, no source)."""


def stock_in(stock: tuple[StockPanel, ...], units: str) -> tuple[StockPanel, ...]:
    """What a scene has in stock; where it says nothing, the usual panel of its units."""
    return USUAL_STOCK_IN if stock == USUAL_STOCK and units in ("in", "ft") else stock


class Treatment(Record):
    """How a plan may treat the room."""

    panels: Annotated[int, Field(ge=1, le=40)] | None = Field(default=None, description="most panels in all")
    budget: Annotated[float, Field(gt=0.0)] | None = Field(default=None, description="most they may cost together")
    currency: str = Field(default="", description="printed with prices")
    stock: tuple[StockPanel, ...] = Field(default=USUAL_STOCK, min_length=1)
    symmetric: bool = Field(default=True, description="left and right get the same")
    movable: bool = Field(
        default=True, description="panels on stands may cross openings that are not ways out, and be parked"
    )
    no_drilling: tuple[str, ...] = Field(
        default=(), description="surfaces, or all, where nothing may be fixed: panels there need stands or posts"
    )
    leave_bare: tuple[str, ...] = Field(default=(), description="surfaces that get no panels")
    wall_gap: NonNegativeLength = Field(default=0.0, description="air behind panels on walls and slopes")
    cloud_gap: NonNegativeLength = Field(default=0.10, description="air between a cloud and the ceiling")
    headroom: PositiveLength = Field(default=2.0, description="least height under a cloud")
    least_gain_db: Annotated[float, Field(ge=0.0, le=10.0)] = Field(
        default=1.0, description="a step that lowers the measure by less is left out"
    )

    @model_validator(mode="after")
    def _prices_for_a_budget(self) -> Self:
        if self.budget is not None and any(panel.price is None for panel in self.stock):
            without = next(panel.name for panel in self.stock if panel.price is None)
            raise ValueError(f'there is a budget and "{without}" has no price; add price = 80 to every panel in stock')
        return self
