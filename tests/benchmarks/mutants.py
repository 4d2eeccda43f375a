"""Change the code by one small mistake at a time and see whether a test fails: what survives is not tested.

Run ``python tests/benchmarks/mutants.py bomaudit/status.py tests/test_status.py``; further arguments are further tests.
``--sample 40`` tries so many, spread evenly. The module and its tests are loaded once; each mutant runs in a process of
its own that was forked from there, with the code of its functions exchanged.
"""

from __future__ import annotations

import argparse
import ast
import copy
import importlib
import os
import signal
import sys
import types
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
SWAPS: dict[type, type] = {
    ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq,
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.And: ast.Or, ast.Or: ast.And,
    ast.BitAnd: ast.BitOr, ast.BitOr: ast.BitAnd, ast.In: ast.NotIn, ast.NotIn: ast.In,
}  # fmt: skip
NAMES = {"minimum": "maximum", "maximum": "minimum", "any": "all", "all": "any", "log1p": "expm1", "cumsum": "cumprod"}
TIMEOUT = 300
FAULT = 99
ENDINGS = (0, 1, 2, -signal.SIGALRM)
"""How tests end with a mutant: passed, failed, not even collected, out of time. Anything else is our own mistake."""


def mutate(node: ast.AST) -> Iterator[str]:
    """Change a node in every way there is, one after the other; yields what was changed, undone before the next."""
    if isinstance(node, ast.Compare) and len(node.ops) == 1 and type(node.ops[0]) in SWAPS:
        old, node.ops = node.ops, [SWAPS[type(node.ops[0])]()]
        yield f"{type(old[0]).__name__} → {type(node.ops[0]).__name__}"
        node.ops = old
    elif isinstance(node, ast.BinOp | ast.BoolOp) and type(node.op) in SWAPS:
        was = node.op
        node.op = SWAPS[type(was)]()
        yield f"{type(was).__name__} → {type(node.op).__name__}"
        node.op = was
    elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not | ast.USub | ast.Invert):
        sign = node.op
        node.op = ast.UAdd() if isinstance(sign, ast.USub) else ast.Not()
        if not isinstance(sign, ast.Not):
            yield f"{type(sign).__name__} dropped or turned"
        node.op = sign
    elif isinstance(node, ast.Constant) and type(node.value) in (int, float) and not isinstance(node.value, bool):
        value = node.value
        node.value = value + 1
        yield f"{value} → {value + 1}"
        node.value = value
    elif isinstance(node, ast.Attribute) and node.attr in NAMES:
        name = node.attr
        node.attr = NAMES[name]
        yield f"{name} → {node.attr}"
        node.attr = name
    elif isinstance(node, ast.Call) and getattr(node.func, "attr", "") == "where" and len(node.args) == 3:
        node.args[1], node.args[2] = node.args[2], node.args[1]
        yield "where: branches swapped"
        node.args[1], node.args[2] = node.args[2], node.args[1]


def mutants(source: str) -> Iterator[tuple[int, str, ast.Module]]:
    """Every mutant of a module: line, what was changed, the tree. Only what functions do, not what they say."""
    tree = ast.parse(source)
    for node in functions(tree):
        for inner in ast.walk(ast.Module(node.body, [])):
            for what in mutate(inner):
                yield inner.lineno, f"column {inner.col_offset}: {what}", ast.fix_missing_locations(copy.deepcopy(tree))


def functions(tree: ast.Module) -> Iterator[ast.FunctionDef]:
    """Functions and methods of a module; those within others belong to them, or they would be changed twice."""
    held = [*tree.body, *(n for c in tree.body if isinstance(c, ast.ClassDef) for n in c.body)]
    yield from (n for n in held if isinstance(n, ast.FunctionDef))


def out_of_order(source: str) -> ast.Module:
    """The module with functions that do nothing but fail: tests that pass with it do not reach the module."""
    tree = ast.parse(source)
    for node in functions(tree):
        node.body[:] = ast.parse("raise ArithmeticError").body
    return ast.fix_missing_locations(tree)


def codes(code: types.CodeType, above: str = "") -> Iterator[tuple[str, types.CodeType]]:
    """Code of each function of a compiled module, by its qualified name."""
    for constant in code.co_consts:
        if isinstance(constant, types.CodeType):
            yield constant.co_qualname, constant
            yield from codes(constant, constant.co_qualname)


def exchange(module: types.ModuleType, tree: ast.Module) -> None:
    """Give the functions of a loaded module the code of a mutant, whoever holds them."""
    made = dict(codes(compile(tree, str(module.__file__), "exec")))
    held = [
        *vars(module).values(),
        *(m for c in vars(module).values() if isinstance(c, type) for m in vars(c).values()),
    ]
    for function in held:
        function = function.fget if isinstance(function, property) else getattr(function, "__func__", function)  # noqa: PLW2901
        if isinstance(function, types.FunctionType) and function.__module__ == module.__name__:
            new = made.get(function.__code__.co_qualname)  # none for what a dataclass made
            if new is not None and new.co_freevars == function.__code__.co_freevars:
                function.__code__ = new


def killed(module: types.ModuleType, tree: ast.Module, tests: list[str]) -> bool:
    """Whether a test fails with the mutant, or never ends."""
    import pytest  # noqa: PLC0415  (loaded before the first fork)

    child = os.fork()
    if child == 0:
        result = FAULT
        try:
            signal.alarm(TIMEOUT)
            exchange(module, tree)
            null = os.open(os.devnull, os.O_WRONLY)
            os.dup2(null, 1)
            os.dup2(null, 2)
            result = int(pytest.main(["-x", "-q", "-p", "no:cacheprovider", *tests]))
        finally:
            os._exit(result)
    _, status = os.waitpid(child, 0)
    code = os.waitstatus_to_exitcode(status)
    if code not in ENDINGS:
        sys.exit(f"neither passed nor failed: the tests ended with {code}")
    return code != 0


def main() -> None:
    """Try the mutants of one module on some tests and list what survives."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("module", type=Path)
    parser.add_argument("tests", nargs="+")
    parser.add_argument("--sample", type=int, default=0)
    given = parser.parse_args()
    os.chdir(ROOT)
    sys.path.insert(0, str(ROOT))
    import scipy.stats  # noqa: F401, PLC0415  (loaded once, before the first fork)

    module = importlib.import_module(".".join(given.module.with_suffix("").parts))
    importlib.import_module("bomaudit.audit")
    source = given.module.read_text(encoding="utf-8")
    if killed(module, ast.parse(source), given.tests):
        sys.exit("the tests fail on the code as it is")
    if not killed(module, out_of_order(source), given.tests):
        sys.exit("the tests pass with functions that do nothing but fail")
    found = list(mutants(source))
    step = max(len(found) // given.sample, 1) if given.sample else 1
    tried, survived = found[::step], 0
    for line, what, tree in tried:
        if not killed(module, tree, given.tests):
            survived += 1
            print(f"{given.module}:{line}: survives: {what}: {source.splitlines()[line - 1].strip()}", flush=True)
    print(f"{given.module}: {len(tried)} of {len(found)} mutants tried, {len(tried) - survived} killed", flush=True)


if __name__ == "__main__":
    main()
