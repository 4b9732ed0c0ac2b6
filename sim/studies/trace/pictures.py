"""All pictures of a folder of results, and how to draw where drawing may kill the process.

Pictures in space need graphics libraries of the system.  Where they are missing VTK does not raise, it takes the
whole process down; so whoever draws runs a child and turns its death into a sentence.  Flat pictures need nothing.
"""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
import threading
from collections import deque
from collections.abc import Callable, Sequence
from pathlib import Path

from sim.errors import OutputError, PictureError
from sim.responses.records import Results
from sim.studies.trace.map_picture import OCTAVES_HZ, desk_surface, draw_map, worst_surfaces

Report = Callable[[str], None]
"""Called with a few words before each picture."""

PACKAGES = "libgl1 libegl1 libxrender1"
PROBE = """
import pyvista
plotter = pyvista.Plotter(off_screen=True, window_size=[64, 64])
plotter.add_mesh(pyvista.Cube(), color="black")
assert plotter.screenshot(return_img=True).min() < 128
"""
PROBE_TIMEOUT_S = 120.0
CHILD_TIMEOUT_S = 900.0
MOST_SAID = 100
"""So many of the last lines of a child's complaints are kept."""
TOLD = 64
"""Exit code of a child whose last words are a sentence for the person."""
WINDOWS_FAULT = 0x8000_0000
"""Windows tells of a killed process by an exit code from here on."""


def _silent(_: str) -> None:
    return None


def draw_all(results: Results, out: Path, report: Report = _silent) -> tuple[Path, ...]:
    """Write all pictures of one result into a folder; may kill the process where VTK cannot draw."""
    return draw_flat(results, out, report) + draw_solid(results, out, report)


def draw_flat(results: Results, out: Path, report: Report = _silent) -> tuple[Path, ...]:
    """Write plan, curves, responses and maps into a folder; needs no graphics libraries."""
    from sim.showing.curve_picture import draw_curves, draw_octave_curves
    from sim.showing.ear_picture import draw_ear_response
    from sim.showing.plan_picture import draw_plan

    report("drawing the plan")
    made = [draw_plan(results.stage, results.scene.blueprint, out / "plan.png")]
    for listener, name in enumerate(results.stage.listener_names):
        report(f"drawing curves at the {name}")
        tail = "" if listener == 0 else f"_{file_name(name)}"
        made.append(draw_curves(results, out / f"energy_time{tail}.png", listener=listener))
        made.append(draw_octave_curves(results, out / f"energy_time_octaves{tail}.png", listener=listener))
        made.append(draw_ear_response(results, out / f"ear_response{tail}.png", listener=listener))
    desk = desk_surface(results)
    surfaces = ([desk] if desk else []) + list(worst_surfaces(results, besides=[desk] if desk else []))
    names = _distinct([file_name(surface.name) for surface in surfaces])
    for surface, name in zip(surfaces, names, strict=True):
        report(f"drawing the map of the {surface.name}")
        made.append(draw_map(results, surface, out / f"map_{name}.png"))
        made.append(draw_map(results, surface, out / f"map_{name}_octaves.png", bands_hz=OCTAVES_HZ))
    return tuple(made)


def draw_solid(results: Results, out: Path, report: Report = _silent) -> tuple[Path, ...]:
    """Write the room in space, from each side, into a folder; may kill the process where VTK cannot draw."""
    from sim.showing.room_picture import VIEWS, draw_room

    made = []
    for view, name in zip(VIEWS, ("room_from_left.png", "room_from_right.png", "room_from_below.png"), strict=True):
        report(f"drawing the room {view}")
        made.append(draw_room(results, out / name, view=view))
    return tuple(made)


def draw_comparison_flat(many: Sequence[Results], out: Path, report: Report = _silent) -> tuple[Path, ...]:
    """Write curves, responses and bars of several results into a folder."""
    from sim.studies.compare.picture import draw_differences

    report("drawing differences")
    return (draw_differences(many, out / "differences.png"),)


def draw_comparison_solid(many: Sequence[Results], out: Path, report: Report = _silent) -> tuple[Path, ...]:
    """Write the rooms of several results side by side; may kill the process where VTK cannot draw."""
    from sim.studies.compare.picture import draw_rooms
    from sim.showing.room_picture import VIEWS

    made = []
    for view, name in zip(VIEWS, ("rooms_from_left.png", "rooms_from_right.png", "rooms_from_below.png"), strict=True):
        report(f"drawing the rooms {view}")
        made.append(draw_rooms(many, out / name, view=view))
    return tuple(made)


def probe_solid(timeout_s: float = PROBE_TIMEOUT_S) -> None:
    """Draw a cube in a child to find out whether pictures in space can be drawn here.

    Raises
    ------
    PictureError
        If they cannot, with the packages to install.
    """
    run_child([sys.executable, "-P", "-c", PROBE], timeout_s)


def run_child(command: Sequence[str], timeout_s: float = CHILD_TIMEOUT_S, report: Report = _silent) -> None:
    """Run a command that draws; each line it prints goes to `report`.

    The other end of its standard input is ours, so that it can tell when we are gone.  Whatever ends this function ends
    the command.

    Raises
    ------
    PictureError
        If it dies, fails or does not come to an end within timeout_s; numbers written before are not touched.
    OutputError
        If it says, ending with `TOLD`, that its pictures cannot be written.
    """
    package = str(Path(__file__).parents[2])
    paths = os.pathsep.join(path for path in (package, os.environ.get("PYTHONPATH", "")) if path)
    with subprocess.Popen(
        list(command), stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE,
        text=True, encoding="utf-8", errors="replace",
        env={**os.environ, "PYTHONPATH": paths, "PYTHONIOENCODING": "utf-8"},
    ) as child:  # fmt: skip
        late = threading.Event()

        def stop() -> None:
            late.set()
            child.kill()

        said: deque[str] = deque(maxlen=MOST_SAID)
        alarm = threading.Timer(timeout_s, stop)
        listener = threading.Thread(target=lambda: said.extend(child.stderr or ()), daemon=True)
        try:
            alarm.start()
            listener.start()
            for line in child.stdout or ():
                report(line.rstrip())
            code = child.wait()
            listener.join()
        except BaseException:
            child.kill()
            raise
        finally:
            alarm.cancel()
    complaints = [line.strip() for line in said if line.strip()]
    if late.is_set():
        raise PictureError(
            f"pictures: drawing took longer than {timeout_s:g} s and was stopped; try again on a machine that is less"
            " busy, or leave pictures out; the numbers are not affected."
        )
    if code == TOLD and complaints:
        raise OutputError(complaints[-1])
    if code < 0 or code >= WINDOWS_FAULT:
        raise PictureError(
            f"pictures: the drawing process was killed by the system ({_killer(code)}), as happens where graphics"
            f" libraries are missing; install them (Debian, Ubuntu: apt-get install {PACKAGES}) and draw again; the"
            " numbers and the flat pictures are not affected."
        )
    if code:
        last = complaints[-1] if complaints else f"exit code {code}"
        raise PictureError(f"pictures: they could not be drawn ({last}); the numbers are not affected.")


def _killer(code: int) -> str:
    try:
        return signal.Signals(-code).name
    except ValueError:
        return f"exit code {code:#x}"


def file_name(words: str) -> str:
    """Turn a name into a plain file name: "left wall" is left_wall."""
    return re.sub(r"[^a-z0-9]+", "_", words.lower()).strip("_") or "surface"


def _distinct(names: Sequence[str]) -> list[str]:
    """Number the second and later of equal names."""
    return [name if (n := names[:i].count(name)) == 0 else f"{name}_{n + 1}" for i, name in enumerate(names)]
