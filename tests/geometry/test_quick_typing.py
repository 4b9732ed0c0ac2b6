"""Rules looked at first say what the compiler would say without them."""

from __future__ import annotations

import json
import subprocess
import sys

ASKED = """
import json, operator, sys
import numba as nb, numpy as np
if sys.argv[1] == "with":
    import sim.geometry.quick_typing
if sys.argv[1] == "elsewhere":
    sys.modules["sim.geometry.quick_typing"] = None
    import sim.geometry.kinds_of_kernels
from numba.core.registry import cpu_target
from numba.core import types as t
context = cpu_target.typing_context
context.refresh()
numbers = [t.float64, t.int64, t.uint64, t.float32, t.boolean, t.int32]
arrays = [t.Array(kind, axes, "C", readonly=frozen) for kind in (t.float64, t.int64) for axes in (1, 2)
          for frozen in (False, True)]
found = {}
for name in "add sub mul truediv floordiv lt le gt ge eq ne".split():
    for a in numbers:
        for b in numbers:
            found[f"{a} {name} {b}"] = str(context.resolve_function_type(getattr(operator, name), (a, b), {}))
def answer(operation, *kinds):
    try:
        return str(context.resolve_function_type(operation, kinds, {}))
    except Exception as fault:
        return type(fault).__name__
for array in arrays:
    for at in (t.int64, t.UniTuple(t.int64, 2), t.slice2_type, t.float64):
        found[f"{array}[{at}]"] = answer(operator.getitem, array, at)
        for kind in (t.float64, t.int64, t.Array(t.float64, 1, "C")):
            found[f"{array}[{at}] = {kind}"] = answer(operator.setitem, array, at, kind)
for a in numbers:
    found[f"bool {a}"] = str(context.resolve_function_type(bool, (a,), {}))
print(json.dumps(found))
"""


def asked(how: str) -> dict[str, str]:
    ran = subprocess.run([sys.executable, "-c", ASKED, how], capture_output=True, text=True, check=True)
    found: dict[str, str] = json.loads(ran.stdout)
    return found


def test_rules_looked_at_first_say_what_the_others_say() -> None:
    plain = asked("without")
    assert len(plain) > 400
    assert asked("with") == plain


def test_a_compiler_that_keeps_its_rules_elsewhere_is_no_fault() -> None:
    assert asked("elsewhere")["float64 add float64"] == "(float64, float64) -> float64"
