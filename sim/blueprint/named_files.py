"""Files that a scene names: they exist, can be read here, and stay inside the scene's folder."""

from __future__ import annotations

from pathlib import Path, PurePosixPath, PureWindowsPath

from sim.blueprint.complaints import shown
from sim.blueprint.schema import Blueprint
from sim.errors import MeshError, SceneError

MESH_SUFFIXES = (".obj", ".ply", ".stl", ".glb")
MEASURED_SUFFIXES = (".sofa", ".csv")
MEASURED_KINDS = "an AES69 file (.sofa), a table of two orbits (.csv) or a folder of impulse responses"


def named_files(blueprint: Blueprint, folder: Path) -> list[Path]:
    """Return the paths of all files a scene names: meshes in the order of the file, then measured loudspeakers.

    Of a folder of impulse responses every file is named.
    """
    names = [blueprint.room.mesh] if blueprint.room.mesh is not None else []
    names += [item.mesh.file for item in blueprint.furniture if item.mesh is not None]
    paths = [folder / name for name in names]
    for model in blueprint.models.values():
        for named in (model.file, *(driver.file for driver in model.drivers)):
            if named is not None:
                path = folder / named
                paths += sorted(each for each in path.iterdir() if each.is_file()) if path.is_dir() else [path]
    return list(dict.fromkeys(paths))


def check_mesh_file(name: str, folder: Path, where: str) -> Path:
    """Return the path of a mesh file that is safe to open.

    Raises
    ------
    SceneError
        If the name leads out of the scene's folder, by itself or through a link: a scene that somebody sent
        must not read other files.
    MeshError
        If there is no such file, or it is of no kind that can be read.
    """
    path = _inside(name, folder, where)
    suffix = path.suffix.lower()
    if suffix not in MESH_SUFFIXES:
        raise MeshError(
            where,
            f'"{name}" is not a kind of mesh that can be read',
            f"export it as one of {', '.join(MESH_SUFFIXES)}",
        )
    if path.is_dir():
        raise MeshError(where, f'"{name}" is a folder', "name the mesh file in it")
    if not path.is_file():
        raise MeshError(where, f'there is no file "{name}" beside the scene', _remedy(folder, MESH_SUFFIXES))
    return path


def check_measured_file(name: str, folder: Path, where: str) -> Path:
    """Return the path of measured loudspeaker data that is safe to open; what is in it is read later.

    Raises
    ------
    SceneError
        If the name leads out of the scene's folder, there is nothing of that name, or it is of another kind.
    """
    path = _inside(name, folder, where)
    if path.is_dir():
        return path
    if path.suffix.lower() not in MEASURED_SUFFIXES:
        raise SceneError(where, f'"{name}" is of no kind that can be read', f"give {MEASURED_KINDS}")
    if not path.is_file():
        raise SceneError(where, f'there is no file "{name}" beside the scene', _remedy(folder, MEASURED_SUFFIXES))
    return path


def _inside(name: str, folder: Path, where: str) -> Path:
    if PurePosixPath(name).is_absolute() or PureWindowsPath(name).anchor:
        raise SceneError(
            where,
            f'"{name}" is an absolute path',
            "put the file into the scene's folder and write its name only",
        )
    path = folder / name
    try:
        inside = path.resolve().is_relative_to(folder.resolve())
        odd = path.exists() and not (path.is_file() or path.is_dir())
    except (OSError, RuntimeError, ValueError):  # longer than the system takes, or links that lead to each other
        raise SceneError(where, f"{shown(name)} cannot be looked up", "write the name of a file") from None
    if not inside:
        raise SceneError(
            where,
            f'"{name}" leads out of the scene\'s folder',
            "put the file into that folder, beside the scene",
        )
    if odd:
        raise SceneError(where, f'"{name}" is a pipe or a device', "put a file into the scene's folder")
    return path


def _remedy(folder: Path, suffixes: tuple[str, ...]) -> str:
    present = sorted(entry.name for entry in folder.iterdir() if entry.suffix.lower() in suffixes)
    if present:
        kind = "mesh" if suffixes == MESH_SUFFIXES else "data"
        listed = ", ".join(f'"{name}"' for name in present[:6])
        return f"the {kind} files there are {listed}"
    return f"copy it to {folder}"
