"""A folder is a layer; imports run down only. Heavy libraries are imported where they are used, not at start-up."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
# lower layers first; a file may import its own layer and those before it
ORDER = (
    "base", "writing", "spatial", "linkage", "reading", "solve", "measures", "loads", "photographs", "studies",
    "report", "face", "cli", "viewer",
)  # fmt: skip
BASE = {"errors", "units", "frames", "version"}
APART = {("reading", "solve"), ("solve", "reading")}
HEAVY = {"xarray", "ezdxf", "trimesh", "matplotlib", "pyvista", "pandas", "PySide6", "pyvistaqt", "h5netcdf", "vtk"}
HEAVY |= {"pydantic"}  # typer has it, and loads it for what is not plainly right
FILES = sorted([*(ROOT / "kin3d").rglob("*.py"), *(ROOT / "viewer" / "kin3d_viewer").rglob("*.py")])


def layer_of(module: str) -> str | None:
    """Layer of a dotted module name of ours; None for the package's own face and for other people's modules."""
    top, *rest = module.split(".")
    if top == "kin3d_viewer":
        return "viewer"
    if top != "kin3d" or not rest:
        return None
    return "base" if rest[0] in BASE else (rest[0] if rest[0] in ORDER else None)


def own_name(file: Path) -> str:
    parts = file.relative_to(ROOT).with_suffix("").parts
    return ".".join(parts[1:] if parts[0] == "viewer" else parts)


def imports(tree: ast.AST) -> list[tuple[str, int]]:
    found = []
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            found += [(a.name, node.lineno) for a in node.names]
        elif isinstance(node, ast.ImportFrom):
            found.append((node.module or "", node.lineno))
    return found


@pytest.mark.parametrize("file", FILES, ids=lambda f: str(f.relative_to(ROOT)))
def test_imports_run_down(file):
    mine = layer_of(own_name(file))
    wrong = []
    for module, line in imports(ast.parse(file.read_text("utf-8"))):
        other = layer_of(module)
        if mine is None or other is None or other == mine:
            continue
        opens_viewer = mine in ("face", "cli") and other == "viewer"
        if (ORDER.index(other) > ORDER.index(mine) and not opens_viewer) or (mine, other) in APART:
            wrong.append(f"line {line}: {mine} imports {module}")
    assert not wrong, "; ".join(wrong)


def test_layers_see_a_wrong_import():
    assert ORDER.index(layer_of("kin3d.studies.sweep")) > ORDER.index(layer_of("kin3d.linkage.car"))
    assert layer_of("kin3d.errors") == "base"
    assert layer_of("numpy.linalg") is None


def _heavy_after(code: str) -> set[str]:
    program = f"import sys\n{code}\nprint(*sorted({{m.split('.')[0] for m in sys.modules}} & {HEAVY!r}))"
    ran = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True, cwd=ROOT)
    return set(ran.stdout.splitlines()[-1].split()) if ran.stdout.strip() else set()


def test_importing_the_command_line_imports_nothing_heavy():
    assert _heavy_after("from kin3d.cli import build; build()") == set()


def test_a_sweep_to_the_table_imports_nothing_heavy():
    code = (
        "import contextlib, io\n"
        "from kin3d.cli import build\n"
        "with contextlib.redirect_stdout(io.StringIO()):\n"
        "    build()(['sweep', 'models/siskin/car.toml', '--travel=-20:20:10'], standalone_mode=False)"
    )
    assert _heavy_after(code) == set()


READING = {"base", "linkage", "reading"}
KNOWN_CIRCLES = ({"kin3d_viewer.command", "kin3d_viewer.window"},)  # the window opens another car by the command


def one_study(ring: set[str]) -> bool:
    """Whether a circle is one study in two files: the study, and how it looks, which names the study's types."""
    first, second = sorted(ring)[:2]
    return len(ring) == 2 and second == f"{first}_view"


@pytest.mark.parametrize("file", sorted((ROOT / "kin3d/reading").rglob("*.py")), ids=lambda f: str(f.relative_to(ROOT)))
def test_reading_rests_on_the_linkage_alone(file):
    """Besides errors, units and frames; of the writers it has only the one way in which a file is written."""
    for module, line in imports(ast.parse(file.read_text("utf-8"))):
        allowed = layer_of(module) in (*READING, None) or module == "kin3d.writing.files"
        assert allowed, f"line {line}: reading imports {module}"


def imported_modules(tree: ast.AST, names: set[str]) -> set[str]:
    """Modules among `names` that a file imports anywhere: at its head, inside functions, or for types only."""
    found = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            found |= {a.name for a in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            inner = {f"{node.module}.{a.name}" for a in node.names}
            # "from package import module" asks for the module; else for names of the package itself
            found |= inner & names if inner <= names else {node.module, *inner}
    return found & names


def circles(graph: dict[str, set[str]]) -> list[set[str]]:
    """Sets of modules that import one another, directly or through each other."""
    reach = {name: set(to) for name, to in graph.items()}
    for through in graph:
        for found in reach.values():
            if through in found:
                found |= reach[through]
    rings = {frozenset(b for b in reach[a] if a in reach[b]) for a in graph if a in reach[a]}
    return sorted((set(ring) for ring in rings), key=sorted)


def test_no_import_circle_between_our_modules():
    """Wherever an import stands: a circle that is broken by an import inside a function, or for types, is one."""
    files = {own_name(f).removesuffix(".__init__"): f for f in FILES}
    names = set(files)
    graph = {n: imported_modules(ast.parse(f.read_text("utf-8")), names) - {n} for n, f in files.items()}
    assert len(graph) > 150
    assert [ring for ring in circles(graph) if ring not in KNOWN_CIRCLES and not one_study(ring)] == []


def test_circles_are_seen_inside_functions_and_for_types():
    text = {
        "a": "def f():\n    from b import g\n",
        "b": "from typing import TYPE_CHECKING\nif TYPE_CHECKING:\n    import c\n",
        "c": "from a import f\n",
        "d": "import a\n",
    }
    assert circles({n: imported_modules(ast.parse(t), set(text)) for n, t in text.items()}) == [{"a", "b", "c"}]


def test_a_sweep_takes_nothing_of_photographs_settling_and_statics():
    code = (
        "import sys, kin3d\n"
        "kin3d.sweep(kin3d.load('models/dunlin/car.toml'), travel=[0.0])\n"
        "apart = ('scipy', 'kin3d.photographs', 'kin3d.studies.settle', 'kin3d.loads.held')\n"
        "print(*sorted(m for m in sys.modules if m.startswith(apart)))"
    )
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=ROOT)
    assert ran.stdout.split() == []
