"""Loudspeakers from what a scene tells of them."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from sim.blueprint.loudspeakers import KINDS, LoudspeakerModel
from sim.blueprint.named_files import MEASURED_KINDS
from sim.blueprint.reader import SCENE_NAME, AnyScene, read_scene
from sim.errors import SceneError
from sim.loudspeakers.assembled import GivenDriver, assembled_loudspeaker, measured_loudspeaker, read_measured
from sim.loudspeakers.catalogue import Design, generic_loudspeaker
from sim.loudspeakers.loudspeaker import Loudspeaker


def given_loudspeaker(name: str, model: LoudspeakerModel, folder: Path, *, flush: bool = False) -> Loudspeaker:
    """Build a model of a scene; `folder` is the scene's, in which measured data lie.

    Raises
    ------
    ValueError
        With a sentence, if it cannot be built.
    SceneError
        If its data cannot be read.
    """
    if model.kind == "measured":
        assert model.file is not None
        data = read_measured(folder / model.file, f"models.{name}.file")
        return measured_loudspeaker(
            name, data, box_m=_box(model), axis_m=_axis(model), mass_kg=model.mass_kg, flush=flush
        )
    if model.kind == "own drivers":
        box = _box(model)
        assert box is not None
        told = [
            GivenDriver(
                name=driver.name,
                diameter_m=driver.diameter,
                right_m=driver.right_of_middle,
                above_bottom_m=driver.above_bottom,
                from_hz=driver.from_hz or 0.0,
                to_hz=driver.to_hz or np.inf,
                slope_db_per_octave=driver.slope_db_per_octave,
                delay_ms=driver.delay_ms,
                gain_db=driver.gain_db,
                inverted=driver.polarity == "inverted",
                waveguide_diameter_m=driver.waveguide_diameter or 0.0,
                coverage_deg=driver.coverage_deg,
                data=None
                if driver.file is None
                else read_measured(folder / driver.file, f"models.{name}.drivers[{number}].file"),
            )
            for number, driver in enumerate(model.drivers)
        ]
        return assembled_loudspeaker(name, box, told, axis_m=_axis(model), mass_kg=model.mass_kg, flush=flush)
    design = Design(
        width_m=model.width,
        height_m=model.height,
        depth_m=model.depth,
        mass_kg=model.mass_kg,
        woofer_diameter_m=model.woofer_diameter,
        tweeter_diameter_m=model.tweeter_diameter,
        mid_diameter_m=model.mid_diameter,
        spacing_m=model.spacing,
        mid_spacing_m=model.mid_spacing,
        crossovers_hz=model.crossovers_hz,
        slope_db_per_octave=model.slope_db_per_octave,
        axis=model.axis,
        plate_turn_deg=model.plate_turn_deg,
        waveguide_diameter_m=model.waveguide_diameter,
        coverage_deg=model.coverage_deg,
    )
    return generic_loudspeaker(model.kind, design, name=name, flush=flush)


def loudspeaker(what: AnyScene, model: str | None = None) -> Loudspeaker:
    """Build a loudspeaker from what a person names: a kind, a file or folder of data, or a scene with a model in it.

    `model` is which model of a scene; left out, that of its first loudspeaker.

    Raises
    ------
    SceneError
        If nothing of that name is known, or it cannot be read or built.
    """
    if not isinstance(what, str | Path) or "\n" in str(what):
        return _of_scene(what, model)
    word, path = str(what), Path(what)
    is_scene = path.suffix.lower() == ".toml" or (path.is_dir() and (path / SCENE_NAME).is_file())
    if model is not None and not is_scene:
        raise SceneError("--model", f"{word} is no scene", "leave it out")
    try:
        if word in KINDS:
            return generic_loudspeaker(word)  # type: ignore[arg-type]
        if is_scene:
            return _of_scene(path, model)
        if path.exists():
            return measured_loudspeaker(path.name, read_measured(path, "loudspeaker"))
    except ValueError as fault:
        found, _, remedy = str(fault).rstrip(".").partition("; ")
        raise SceneError(word, found, remedy or "change its sizes") from None
    raise SceneError(
        "loudspeaker",
        f'"{word}" is neither a kind nor there as a file',
        f"name one of {', '.join(KINDS)}, {MEASURED_KINDS}, or a scene",
    )


def _of_scene(given: AnyScene, model: str | None) -> Loudspeaker:
    scene = read_scene(given)
    path = given if isinstance(given, str | Path) else scene.path
    used = [record.model for record in scene.blueprint.loudspeakers]
    known = list(dict.fromkeys([*used, *scene.blueprint.models]))
    name = model if model is not None else used[0]
    if name not in known:
        raise SceneError("--model", f'no model of {path} is called "{name}"', f"choose from {', '.join(known)}")
    flush = all(record.standing == "built in" for record in scene.blueprint.loudspeakers if record.model == name)
    flush = flush and name in used
    if name not in scene.blueprint.models:
        return generic_loudspeaker(name, flush=flush)  # type: ignore[arg-type]
    return given_loudspeaker(name, scene.blueprint.models[name], scene.folder, flush=flush)


def _box(model: LoudspeakerModel) -> tuple[float, float, float] | None:
    if model.width is None or model.height is None or model.depth is None:
        return None
    return (model.width, model.height, model.depth)


def _axis(model: LoudspeakerModel) -> tuple[float, float] | None:
    """Acoustic axis point as (right of the middle, above the bottom); None where it follows from the drivers."""
    if model.axis_above_bottom is None and model.axis_right_of_middle is None:
        return None
    above = model.axis_above_bottom if model.axis_above_bottom is not None else 0.5 * (model.height or 0.0)
    return (model.axis_right_of_middle or 0.0, above)
