"""Small faults that a person could make in a formula, put into the syntax tree of a module one at a time.

A fault is one changed spot: a sign, an operator, a comparison, a constant (10 % more, or one off), an index of a pair,
a root left out, a sine for a cosine, a term dropped, a condition turned round, two arguments swapped.  Texts, type
hints, what is said in an error and settings of a record are left alone: they are no physics.
"""

from __future__ import annotations

import ast
import copy
from collections.abc import Iterator
from dataclasses import dataclass

OPERATORS: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.Div,
    ast.Div: ast.Mult,
    ast.FloorDiv: ast.Mult,
    ast.Mod: ast.Mult,
    ast.BitAnd: ast.BitOr,
    ast.BitOr: ast.BitAnd,
}
COMPARISONS: dict[type[ast.cmpop], type[ast.cmpop]] = {
    ast.Lt: ast.GtE,
    ast.GtE: ast.Lt,
    ast.Gt: ast.LtE,
    ast.LtE: ast.Gt,
    ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq,
    ast.In: ast.NotIn,
    ast.NotIn: ast.In,
    ast.Is: ast.IsNot,
    ast.IsNot: ast.Is,
}
FUNCTIONS = {
    "cos": "sin",
    "sin": "cos",
    "min": "max",
    "max": "min",
    "minimum": "maximum",
    "maximum": "minimum",
    "argmin": "argmax",
    "argmax": "argmin",
    "floor": "ceil",
    "ceil": "floor",
    "any": "all",
    "all": "any",
    "radians": "degrees",
    "degrees": "radians",
    "mean": "sum",
    "tan": "sin",
}
LEFT_OUT = {"sqrt", "abs", "log10", "conj", "deg2rad"}
"""Functions of one value that a fault leaves out."""
NO_PHYSICS = {"dataclass", "kernel", "part", "inlined", "njit", "Field", "ConfigDict", "TypeVar"}


@dataclass(frozen=True, slots=True)
class Fault:
    """One changed spot of a module: `number` finds it again, `kind`, `line`, `was` and `now` tell a reader."""

    number: int
    kind: str
    line: int
    was: str
    now: str


def faults_in(source: str) -> list[Fault]:
    """All faults that can be put into a module."""
    found = []
    for number, (node, kind, changed) in enumerate(_spots(ast.parse(source))):
        found.append(Fault(number, kind, node.lineno, ast.unparse(node), ast.unparse(changed)))
    return found


def with_fault(source: str, number: int) -> ast.Module:
    """Parse a module and put fault `number` of `faults_in` in."""
    tree = ast.parse(source)
    target, _, changed = next(spot for k, spot in enumerate(_spots(tree)) if k == number)

    class Put(ast.NodeTransformer):
        def visit(self, node: ast.AST) -> ast.AST:
            return changed if node is target else self.generic_visit(node)

    return ast.fix_missing_locations(Put().visit(tree))


def _spots(tree: ast.AST) -> Iterator[tuple[ast.expr, str, ast.expr]]:
    for node in _physics(tree):
        if isinstance(node, ast.expr):
            for kind, changed in _changes(node):
                yield node, kind, ast.copy_location(changed, node)
        elif isinstance(node, ast.If | ast.Assert):
            negated = ast.UnaryOp(ast.Not(), node.test)
            if not isinstance(node.test, ast.Compare):
                yield node.test, "condition turned round", ast.copy_location(negated, node.test)


def _physics(node: ast.AST) -> Iterator[ast.AST]:
    """Walk a tree in order, leaving out type hints, decorators, texts, errors and what only types need."""
    yield node
    skipped: list[ast.AST | None] = []
    if isinstance(node, ast.FunctionDef):
        skipped = [*node.decorator_list, node.returns]
    elif isinstance(node, ast.ClassDef):
        skipped = [*node.decorator_list, *node.bases]
    elif isinstance(node, ast.arg | ast.AnnAssign):
        skipped = [node.annotation]
    if _says_or_sets(node):
        return
    for child in ast.iter_child_nodes(node):
        if not any(child is each for each in skipped):
            yield from _physics(child)


def _says_or_sets(node: ast.AST) -> bool:
    """Whether a node only words an error, imports, sets up a record or serves type hints."""
    if isinstance(node, ast.Raise | ast.JoinedStr | ast.Import | ast.ImportFrom):
        return True
    if isinstance(node, ast.Call):
        return _name(node.func) in NO_PHYSICS
    if isinstance(node, ast.If):
        return ast.unparse(node.test) == "TYPE_CHECKING"
    return isinstance(node, ast.keyword) and node.arg in ("strict", "kind", "copy", "frozen", "slots", "dtype")


def _changes(node: ast.expr) -> Iterator[tuple[str, ast.expr]]:
    if isinstance(node, ast.BinOp) and not _is_text(node):
        if type(node.op) in OPERATORS:
            yield "operator", ast.BinOp(node.left, OPERATORS[type(node.op)](), node.right)
        if isinstance(node.op, ast.Add | ast.Sub | ast.Mult) and not isinstance(node.left, ast.List | ast.Tuple):
            yield "term dropped", node.left
    elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub):
        yield "sign", node.operand
    elif isinstance(node, ast.Compare) and len(node.ops) == 1 and type(node.ops[0]) in COMPARISONS:
        yield "comparison", ast.Compare(node.left, [COMPARISONS[type(node.ops[0])]()], node.comparators)
    elif isinstance(node, ast.BoolOp):
        yield "and for or", ast.BoolOp(ast.Or() if isinstance(node.op, ast.And) else ast.And(), node.values)
    elif isinstance(node, ast.IfExp):
        yield "condition turned round", ast.IfExp(node.test, node.orelse, node.body)
    elif isinstance(node, ast.Constant):
        if isinstance(node.value, float):
            yield "constant", ast.Constant(1.1 * node.value if node.value else 0.1)
        elif isinstance(node.value, bool):
            yield "constant", ast.Constant(not node.value)
        elif isinstance(node.value, int):
            yield "constant", ast.Constant({0: 1, 1: 0}.get(node.value, node.value + 1))
    elif isinstance(node, ast.Call):
        yield from _calls(node)


def _calls(node: ast.Call) -> Iterator[tuple[str, ast.expr]]:
    name = _name(node.func)
    if name in FUNCTIONS:
        func = copy.copy(node.func)
        if isinstance(func, ast.Attribute):
            func.attr = FUNCTIONS[name]
        elif isinstance(func, ast.Name):
            func.id = FUNCTIONS[name]
        yield "another function", ast.Call(func, node.args, node.keywords)
    if name in LEFT_OUT and len(node.args) == 1:
        yield "function left out", node.args[0]
    if len(node.args) >= 2 and all(isinstance(each, ast.Name | ast.Attribute) for each in node.args[:2]):
        swapped = [node.args[1], node.args[0], *node.args[2:]]
        if name not in ("isinstance", "getattr", "zip"):
            yield "arguments swapped", ast.Call(node.func, swapped, node.keywords)


def _name(func: ast.expr) -> str:
    return func.attr if isinstance(func, ast.Attribute) else func.id if isinstance(func, ast.Name) else ""


def _is_text(node: ast.BinOp) -> bool:
    sides = (node.left, node.right)
    return any(
        isinstance(s, ast.JoinedStr) or (isinstance(s, ast.Constant) and isinstance(s.value, str)) for s in sides
    )
