"""The faults that are put in on purpose: what can go wrong in a formula is among them, words and settings are not."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.faults.kinds import faults_in, with_fault
from tests.faults.put_in import chosen_faults
from tests.faults.running import ROOT, nearest_tests

FORMULA = '''
"""A text with 1.0 in it."""
from dataclasses import dataclass

@dataclass(frozen=True)
class Record:
    value: float = 2.0

def length(a: float, b: float) -> float:
    if a < 0.0:
        raise ValueError(f"{a - b}")
    return sqrt(a**2 + b * cos(-a))

def longest(points):
    return longest_of(points[0], points) if points else max(points)
'''


def test_every_kind_of_fault_is_found_once_for_each_spot() -> None:
    found = {(fault.kind, fault.was, fault.now) for fault in faults_in(FORMULA)}
    assert {
        ("constant", "2.0", "2.2"),
        ("comparison", "a < 0.0", "a >= 0.0"),
        ("constant", "0.0", "0.1"),
        ("function left out", "sqrt(a ** 2 + b * cos(-a))", "a ** 2 + b * cos(-a)"),
        ("constant", "2", "3"),
        ("operator", "a ** 2 + b * cos(-a)", "a ** 2 - b * cos(-a)"),
        ("operator", "b * cos(-a)", "b / cos(-a)"),
        ("term dropped", "a ** 2 + b * cos(-a)", "a ** 2"),
        ("term dropped", "b * cos(-a)", "b"),
        ("another function", "cos(-a)", "sin(-a)"),
        ("sign", "-a", "a"),
        ("constant", "0", "1"),
        ("another function", "max(points)", "min(points)"),
        (
            "condition turned round",
            "longest_of(points[0], points) if points else max(points)",
            "max(points) if points else longest_of(points[0], points)",
        ),
    } == found


def test_one_fault_changes_one_spot() -> None:
    namespace: dict[str, object] = {}
    faults = faults_in("def area(a, b):\n    return a * b\n")
    (swapped,) = (fault for fault in faults if fault.kind == "operator")
    exec(compile(with_fault("def area(a, b):\n    return a * b\n", swapped.number), "a fault", "exec"), namespace)
    assert namespace["area"](6.0, 3.0) == 2.0  # type: ignore[operator]


@pytest.mark.parametrize(
    "module", ["acoustics/air", "placement/poses", "propagation/surfaces/factors", "showing/tables"]
)
def test_every_fault_leaves_a_module_that_compiles(module: str) -> None:
    source = (ROOT / "sim" / f"{module}.py").read_text(encoding="utf-8")
    for fault in faults_in(source)[::7]:
        compile(with_fault(source, fault.number), module, "exec")


def test_the_same_seed_chooses_the_same_faults() -> None:
    assert chosen_faults(4, 5) == chosen_faults(4, 5) != chosen_faults(5, 5)
    assert {path.parent.name for path, _ in chosen_faults(4, 5, ["placement"])} == {"placement"}


def test_a_modules_own_tests_come_first() -> None:
    nearest = nearest_tests(ROOT / "sim" / "acoustics" / "air.py")
    assert nearest[0] == ROOT / "tests" / "acoustics" / "test_air.py"
    assert Path("tests/propagation/surfaces/test_gains.py") in {path.relative_to(ROOT) for path in nearest}
