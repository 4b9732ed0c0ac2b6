"""Results of layouts 1 and 2: the same tables with the names they had then, and what they may lack filled in.

Layout 2 named datasets after the records of the program, and layout 1 grew without a new number; so a file of these may
hold more or less.  Neither has a seal.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any, Final

import h5py
import numpy as np

from sim.acoustics.bands import Bands
from sim.acoustics.materials import ABSORPTION_OCTAVES_HZ, FLAT_SCATTERING
from sim.arrays import frozen
from sim.propagation.edges.table import EdgePathTable
from sim.responses.ear_records import EarLevels
from sim.responses.records import Results
from sim.showing.archive.results_layout import KIND_OF_ARRIVAL, RESULTS, window_of_old
from sim.showing.archive.stored_kinds import Kind, Maybe, Several, Text
from sim.showing.archive.stored_records import Column, Numbered, Record
from sim.showing.archive.words import ABSORPTION_OCTAVE, F8

OLDER: Final = (1, 2)

OLD_NAMES: Final[dict[str, str]] = {
    "built_scene": "stage",
    "built_scene/loudspeakers/cabinet": "body",
    "built_scene/finishes/absorption_behind": "behind",
    "built_scene/finishes/layers/open_area_fraction": "open_share",
    "built_scene/room/arrays/offset_m": "offset",
    "first_order_images": "candidates",
    "first_order_images/reflection_point": "point",
    "first_order_images/shadow_depth_m": "shade_m",
    "edge_diffraction": "bends",
    "edge_diffraction/facet_before": "before",
    "edge_diffraction/facet_after": "after",
    "edge_diffraction/dropped": "left_out",
    "responses/frequency_response": "response",
    "responses/frequency_response/levels/without_kind": "kinds",
    "responses/energy_time/flight_time_ms": "flight_ms",
    "responses/energy_time/impulse_response": "impulse",
    "responses/early_reflection_maps": "maps",
    "responses/early_reflection_maps/all_loudspeakers_db": "both_db",
    "responses/early_reflection_maps/reflection_points": "mirror_points",
    "responses/verdicts/above_target": "offenders",
}
"""What an entry of today was called."""
OLD_WORDS: Final[dict[str, str]] = {"specular": "mirrored", "diffracted": "edge"}
"""What a word of today was called."""

OLD_KINDS: Final[dict[str, Kind]] = {"built_scene/finishes/scattering": Several(F8, ABSORPTION_OCTAVE)}
"""What was stored otherwise."""


def _always(value: Any) -> Callable[[dict[str, Any]], Any]:
    return lambda _: value


def _numbers(*shape: int, of: Any = np.float64, value: float = 0.0) -> Any:
    return frozen(np.full(shape, value, dtype=of))


def _no_diffraction(_: dict[str, Any]) -> EdgePathTable:
    none = _numbers(0, of=np.int64)
    gains = _numbers(0, 0, of=np.complex128)
    return EdgePathTable(
        none, none, none, none, none, none, none, _numbers(0, 3, 3), _numbers(0), _numbers(0), gains, 0
    )


def _without_any(response: dict[str, Any]) -> Any:
    loudspeakers, listeners, frequencies = response["total"].shape
    return _numbers(loudspeakers, listeners, 0, frequencies, of=np.complex128)


def _no_drivers(response: dict[str, Any]) -> Any:
    loudspeakers, listeners, frequencies = response["total"].shape
    return _numbers(loudspeakers, 0, listeners, frequencies, of=np.complex128)


def _bare_surfaces(arrival: dict[str, Any]) -> tuple[str, ...]:
    return ("",) * len(arrival["surfaces"]) if arrival["kind"] == KIND_OF_ARRIVAL.words["specular"] else ()


def _no_levels(response: dict[str, Any]) -> EarLevels:
    loudspeakers, listeners, _ = response["total"].shape
    none = _numbers(0)
    levels = _numbers(loudspeakers, listeners, 0, 0)
    return EarLevels(Bands(none, none, none, none), (), (), levels, _numbers(loudspeakers, 0, listeners, 0, 0))


LACKING: Final[dict[str, Callable[[dict[str, Any]], Any]]] = {
    "edge_diffraction": _no_diffraction,
    "responses/notches": _always(()),
    "responses/notches/panel": _always(""),
    "responses/notches/panel_rise_db": _always(0.0),
    "responses/notches/present": _always(True),
    "responses/arrivals/panels": _bare_surfaces,
    "responses/frequency_response/by_driver": _no_drivers,
    "responses/frequency_response/pieces": _always(()),
    "responses/frequency_response/by_piece": _without_any,
    "responses/frequency_response/panels": _always(()),
    "responses/frequency_response/by_panel": _without_any,
    "responses/frequency_response/levels": _no_levels,
    "responses/frequency_response/window": window_of_old,
    "built_scene/scattering": _always(_numbers(0, len(ABSORPTION_OCTAVES_HZ))),
    "built_scene/finishes": _always(()),
    "built_scene/finishes/mass_kg_m2": _always(0.0),
    "built_scene/finishes/scattering": _always((FLAT_SCATTERING,) * len(ABSORPTION_OCTAVES_HZ)),
    "built_scene/finish_of_facet": _always(_numbers(0, of=np.int64)),
    "built_scene/panels": _always(()),
    "built_scene/panels/air_behind_m": _always(0.0),
    "built_scene/panels/held_by": _always("surface"),
    "built_scene/panels/fixings": _always(""),
    "built_scene/panels/mass_kg": _always(0.0),
    "built_scene/panels/mass_is_estimate": _always(True),
    "built_scene/panels/price": _always(float("nan")),
    "built_scene/warnings": _always(()),
    "built_scene/loudspeakers/model/data": _always(()),
    "built_scene/loudspeakers/model/notes": _always(()),
    "built_scene/loudspeakers/model/drivers/own_band": _always(False),
    "built_scene/loudspeakers/model/drivers/from_hz": _always(0.0),
    "built_scene/loudspeakers/model/drivers/to_hz": _always(float("inf")),
    "built_scene/loudspeakers/model/drivers/slope_db_per_octave": _always(24),
    "built_scene/loudspeakers/model/drivers/gain_db": _always(0.0),
    "built_scene/loudspeakers/model/drivers/delay_ms": _always(0.0),
    "built_scene/loudspeakers/model/drivers/inverted": _always(False),
    "built_scene/loudspeakers/model/drivers/mouth_radius_m": _always(0.0),
    "built_scene/loudspeakers/model/drivers/coverage_deg": _always(90.0),
    "built_scene/loudspeakers/model/drivers/data_number": _always(-1),
}
"""What an older file may lack, and what stands for it: nothing of that kind, or what was taken for granted then."""
MISSED: Final[dict[str, str]] = {
    "bends": "edge diffraction",
    "responses/notches": "notches and what makes them",
    "responses/response/by_driver": "the response of each driver",
    "responses/response/by_piece": "the response without each piece of furniture",
    "responses/response/levels": "third-octave levels at the ear",
    "stage/warnings": "what has to be settled first (STOP)",
}
"""What cannot be filled in: the old name of the entry, and what it would tell."""


def read_older(file: h5py.File, layout: int) -> Results:
    """Read an open file of an older layout; what it never held is said among the notes of the built scene.

    Raises
    ------
    KeyError, TypeError, ValueError
        If it holds something else than its layout says.
    """
    results: Results = OLD_RESULTS.read(file)
    missed = [words for name, words in MISSED.items() if name not in file]
    if not missed:
        return results
    results = _with_drivers(results)
    note = f"Read from a file of layout {layout}, without {', '.join(missed)}; trace the scene again for these."
    return replace(results, built=replace(results.built, notes=(*results.built.notes, note)))


def _with_drivers(results: Results) -> Results:
    """Give what is not known of each driver the shape it has: as many as the loudspeakers have, not a number."""
    response = results.responses.response
    drivers = max(len(loudspeaker.model.drivers) for loudspeaker in results.built.loudspeakers)
    if response.by_driver.shape[1] == drivers:
        return results
    levels = replace(response.levels, driver_db=_unknown(response.levels.driver_db, drivers))
    response = replace(response, by_driver=_unknown(response.by_driver, drivers), levels=levels)
    return replace(results, responses=replace(results.responses, response=response))


def _unknown(by_driver: Any, drivers: int) -> Any:
    shape = by_driver.shape
    return frozen(np.full((shape[0], drivers, *shape[2:]), np.nan, dtype=by_driver.dtype))


def _as_then(kind: Kind, path: str) -> Kind:
    """A kind of today with its names and words of then."""
    if isinstance(kind, Record):
        return _record_then(kind, path)
    if isinstance(kind, Numbered):
        return Numbered(_record_then(kind.of, path))
    if isinstance(kind, Several | Maybe):
        return replace(kind, of=_as_then(kind.of, path))
    if isinstance(kind, Text):
        return replace(kind, words={OLD_WORDS.get(word, word): value for word, value in kind.words.items()})
    return kind


def _record_then(record: Record, path: str) -> Record:
    return Record(record.make, tuple(_column_then(column, f"{path}/{column.name}") for column in record.columns))


def _column_then(column: Column, path: str) -> Column:
    path = path.removeprefix("/")
    return Column(
        OLD_NAMES.get(path, column.name),
        OLD_KINDS.get(path) or _as_then(column.kind, path),
        attr=column.attribute,
        lacking=LACKING.get(path, column.lacking),
    )


OLD_RESULTS: Final = _record_then(RESULTS, "")
