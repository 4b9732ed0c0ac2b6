"""AES69 files for tests, written with a general netCDF library, which knows nothing of how they are read here."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import netCDF4
import numpy as np

# forward, right, up
Pattern = Any


def sphere_grid(step_deg: float, farthest_deg: float = 180.0) -> np.ndarray:
    """Azimuth and elevation in degrees (p, 2) on a regular grid, poles once, no farther off the axis than asked."""
    rows = [(0.0, -90.0), (0.0, 90.0)]
    rows += [
        (azimuth, elevation)
        for elevation in np.arange(-90.0 + step_deg, 90.0, step_deg)
        for azimuth in np.arange(0.0, 360.0, step_deg)
    ]
    grid = np.array(rows)
    return grid[unit_vectors(grid)[:, 0] >= np.cos(np.radians(farthest_deg)) - 1e-9]


def unit_vectors(grid_deg: np.ndarray) -> np.ndarray:
    azimuth, elevation = np.radians(grid_deg).T
    return np.column_stack(
        [np.cos(elevation) * np.cos(azimuth), np.cos(elevation) * np.sin(azimuth), np.sin(elevation)]
    )


def write_sofa(
    path: Path,
    receiver: np.ndarray,
    *,
    convention: str = "FreeFieldDirectivityTF",
    values: np.ndarray | None = None,
    frequencies_hz: np.ndarray | None = None,
    responses: np.ndarray | None = None,
    sampling_rate_hz: float = 48000.0,
    delays: np.ndarray | None = None,
    position_type: str = "spherical",
    position_units: str = "degree, degree, metre",
    frequency_units: str = "hertz",
    source: np.ndarray | None = None,
    source_view: np.ndarray | None = None,
    source_up: np.ndarray | None = None,
    leave_out: tuple[str, ...] = (),
) -> Path:
    """Write values (m, r, n) or responses (m, r, sample) at receivers (r, 3) as a netCDF-4 file of that convention."""
    data = values if values is not None else responses
    assert data is not None
    with netCDF4.Dataset(path, "w", format="NETCDF4") as file:
        for name, size in zip("MRN", data.shape[:3], strict=True):
            file.createDimension(name, size)
        for name, size in (("I", 1), ("C", 3), ("E", 1)):
            file.createDimension(name, size)
        file.setncatts(
            {
                "Conventions": "SOFA",
                "Version": "2.1",
                "SOFAConventions": convention,
                "SOFAConventionsVersion": "1.1",
                "DataType": "TF" if values is not None else "FIR",
                "RoomType": "free field",
                "Title": "invented",
                "APIName": "netCDF4",
                "APIVersion": netCDF4.__version__,
            }
        )

        def put(name: str, axes: tuple[str, ...], rows: Any, **attributes: str) -> None:
            if name not in leave_out:
                variable = file.createVariable(name, "f8", axes)
                variable[:] = rows
                variable.setncatts(attributes)

        place = {"Type": position_type, "Units": position_units}
        straight = {"Type": "cartesian", "Units": "metre"}
        put("ReceiverPosition", ("R", "C"), receiver, **place)
        put("ListenerPosition", ("I", "C"), [[0.0, 0.0, 0.0]], **straight)
        put("ListenerView", ("I", "C"), [[1.0, 0.0, 0.0]], **straight)
        put("ListenerUp", ("I", "C"), [[0.0, 0.0, 1.0]])
        if source is None:
            put("SourcePosition", ("I", "C"), [[0.0, 0.0, 0.0]], **straight)
        else:  # (measurement, 3): azimuth, elevation, distance
            put("SourcePosition", ("M", "C"), source, Type="spherical", Units="degree, degree, metre")
        views = np.array([[1.0, 0.0, 0.0]]) if source_view is None else source_view
        ups = np.array([[0.0, 0.0, 1.0]]) if source_up is None else source_up
        put("SourceView", ("M" if len(views) > 1 else "I", "C"), views, **straight)
        put("SourceUp", ("M" if len(ups) > 1 else "I", "C"), ups)
        put("EmitterPosition", ("E", "C"), [[0.0, 0.0, 0.0]], **straight)
        if values is not None:
            put("N", ("N",), frequencies_hz, LongName="frequency", Units=frequency_units)
            put("Data.Real", ("M", "R", "N"), values.real)
            put("Data.Imag", ("M", "R", "N"), values.imag)
        else:
            put("Data.IR", ("M", "R", "N"), data)
            put("Data.SamplingRate", ("I",), [sampling_rate_hz], Units="hertz")
            late = np.zeros((1, data.shape[1])) if delays is None else delays
            put("Data.Delay", ("M" if len(late) > 1 else "I", "R"), late)
    return path
