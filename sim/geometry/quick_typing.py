"""Rules that the compiler looks at first, for what kernels are full of: two plain numbers, elements of arrays.

To find out what `a + b` is, the compiler asks every rule there is for `+` in turn, those for texts, lists and sets
before that for numbers, and does so several times for every `+` in the source.  Rules for the very processor it
compiles for are asked before rules for any; so those here answer at once, and say nothing that the later ones would
not say too.  Where a version of the compiler asks in another order, kernels come out the same and take it a second
longer.
"""

from __future__ import annotations

import operator
from typing import Any

from numba.core import types
from numba.core.typing.arraydecl import GetItemBuffer, SetItemBuffer
from numba.core.typing.templates import AbstractTemplate, infer_global, signature

HERE = {"target": "cpu"}


def _answer_at_once(operation: Any, kinds: tuple[types.Type, ...], result: types.Type | None = None) -> None:
    """Give an operation of two numbers of one kind the same kind as result, or `result`."""
    known = {kind: signature(result or kind, kind, kind) for kind in kinds}

    @infer_global(operation)
    class _Rule(AbstractTemplate):  # type: ignore[misc]
        metadata = HERE

        def generic(self, args: Any, kws: Any) -> Any:
            return known.get(args[0]) if len(args) == 2 and args[0] == args[1] else None


for _operation in (operator.add, operator.sub, operator.mul):
    _answer_at_once(_operation, (types.float64, types.int64))
_answer_at_once(operator.truediv, (types.float64,))
for _operation in (operator.lt, operator.le, operator.gt, operator.ge, operator.eq, operator.ne):
    _answer_at_once(_operation, (types.float64, types.int64), types.boolean)


@infer_global(operator.getitem)
class _Element(GetItemBuffer):  # type: ignore[misc]
    metadata = HERE


@infer_global(operator.setitem)
class _ElementSet(SetItemBuffer):  # type: ignore[misc]
    metadata = HERE


@infer_global(bool)
class _Truth(AbstractTemplate):  # type: ignore[misc]
    metadata = HERE

    def generic(self, args: Any, kws: Any) -> Any:
        return signature(types.boolean, types.boolean) if tuple(args) == (types.boolean,) else None
