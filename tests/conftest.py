"""Settings for all tests, which of them are quick, and what becomes of 3D pictures where none can be drawn.

Kernels compile on first use, so hypothesis must not time the first example.
"""

from __future__ import annotations

import functools
import os
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

from tests.studies.invented_results import invented as invented
from tests.studies.invented_results import other_invented as other_invented
from tests.studies.traced_attic import traced_attic as traced_attic

HERE = Path(__file__).resolve().parent
QUICK = (
    "acoustics",
    "blueprint",
    "loudspeakers",
    "machine",
    "showing",
    "geometry/test_mesh_files.py",
    "studies/absorber",
    "studies/check",
    "studies/loudspeaker",
    "studies/report",
    "studies/sheets",
    "studies/trace",
    "test_cli.py",
    "test_installing.py",
)
"""What `pytest -m quick` runs on a newer Python: every format of file, every record and the command itself."""
NO_GRAPHICS = "no 3D pictures can be drawn here: graphics libraries are missing"

settings.register_profile(
    "bounceplan",
    deadline=None,
    derandomize=True,
    print_blob=True,
    suppress_health_check=[HealthCheck.too_slow],
)
settings.load_profile("bounceplan")


@functools.cache
def draws_in_3d() -> bool:
    """Whether a child can draw a cube; without graphics libraries the 3D library kills whoever tries."""
    from sim.errors import PictureError
    from sim.showing.child_drawing import probe_solid

    try:
        probe_solid()
    except PictureError:
        return False
    return True


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    for item in items:
        place = item.path.relative_to(HERE).as_posix()
        if place in QUICK or place.split("/")[0] in QUICK:
            item.add_marker(pytest.mark.quick)


def pytest_runtest_setup(item: pytest.Item) -> None:
    if item.get_closest_marker("solid") and not draws_in_3d():
        if os.environ.get("CI") == "true":
            pytest.fail(f"{NO_GRAPHICS}, and CI=true", pytrace=False)
        pytest.skip(NO_GRAPHICS)


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    skipped = [report for report in terminalreporter.stats.get("skipped", []) if NO_GRAPHICS in str(report.longrepr)]
    if skipped:
        terminalreporter.write_line(f"{len(skipped)} tests of 3D pictures were skipped: {NO_GRAPHICS}", yellow=True)
