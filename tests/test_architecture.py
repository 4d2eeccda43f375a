"""The drawing in DEVELOPERS.md is the tree; data flow down it; modules and functions stay small."""

import ast
import re
import subprocess
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
PACKAGE = ROOT / "bomaudit"
MODULES = sorted(PACKAGE.rglob("*.py"))
TOP_LEVEL = {"README.md", "DEVELOPERS.md", "pyproject.toml", "bomaudit", "tests", "sample_boms", "learning_curves"}
LONGEST_MODULE, LONGEST_FUNCTION = 400, 40

ROOMS = (
    "resources", "safe_text", "progress", "glossary", "findings", "settings", "frames", "tables", "edited", "prepare",
    "curves", "evidence", "estimate", "status", "decide", "assumptions", "what_if", "opened", "invariants", "audit",
    "finance", "history", "interval_width", "backtest", "provenance", "screen", "report", "cli",
)  # fmt: skip
"""Top to bottom: a room may use rooms above it, never below."""


def room_of(module: str) -> str:
    return module.split(".")[1] if module.count(".") else ""


def name_of(path: Path) -> str:
    parts = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def imports_of(path: Path) -> set[str]:
    """Modules of the package that a module imports, at any depth of its code."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and node.module and node.module.startswith("bomaudit"):
            for alias in node.names:
                inner = f"{node.module}.{alias.name}"
                is_module = any(name_of(m) == inner for m in MODULES)
                found.add(inner if is_module else node.module)
        elif isinstance(node, ast.Import):
            found |= {a.name for a in node.names if a.name.startswith("bomaudit")}
    return found


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_data_flow_down(path):
    own = room_of(name_of(path))
    if not own:
        return
    for used in imports_of(path):
        room = room_of(used)
        if room:
            assert ROOMS.index(room) <= ROOMS.index(own), f"{name_of(path)} uses {used}, which lies below it"


def test_no_import_cycles():
    graph = {name_of(p): imports_of(p) for p in MODULES}
    done: set[str] = set()

    def visit(module: str, path: tuple[str, ...]) -> None:
        assert module not in path, " → ".join([*path[path.index(module) :], module])
        if module not in done:
            for used in sorted(graph.get(module, ())):
                visit(used, (*path, module))
            done.add(module)

    for module in graph:
        visit(module, ())


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_modules_and_functions_stay_small(path):
    text = path.read_text(encoding="utf-8")
    assert text.count("\n") <= LONGEST_MODULE
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.FunctionDef):
            docstring = ast.get_docstring(node, clean=False)
            body = node.body[1:] if docstring is not None and len(node.body) > 1 else node.body
            length = (node.end_lineno or 0) - body[0].lineno + 1
            assert length <= LONGEST_FUNCTION, f"{node.name} has {length} lines"


def test_the_drawing_is_the_tree():
    """Every module of the package stands in DEVELOPERS.md's drawing, and nothing else does."""
    drawing = re.search(
        r"```text\nbomaudit/\n(.*?)```", (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8"), re.DOTALL
    )
    assert drawing
    drawn, folder = set(), ""
    for line in drawing[1].splitlines():
        name = line.split()[0] if line.split() else ""
        if line.startswith("  ") and not line.startswith("    "):
            folder = name if name.endswith("/") else ""
            drawn |= {name} if name.endswith(".py") else set()
        elif line.startswith("    ") and name.endswith(".py"):
            drawn.add(folder + name)
    real = {str(p.relative_to(PACKAGE)) for p in MODULES if p.name != "__init__.py" or p.read_text().count("\n") > 1}
    assert drawn == real


def test_the_top_level_holds_nothing_else():
    listed = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False)
    if listed.returncode:
        pytest.skip("not a git checkout")
    top = {line.split("/")[0] for line in listed.stdout.splitlines()}
    assert {name for name in top if not name.startswith(".")} <= TOP_LEVEL
