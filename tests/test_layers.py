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
    "report", "cli", "viewer",
)  # fmt: skip
BASE = {"errors", "units", "frames"}
APART = {("reading", "solve"), ("solve", "reading")}
HEAVY = {"xarray", "ezdxf", "trimesh", "matplotlib", "pyvista", "pandas", "PySide6", "pyvistaqt", "h5netcdf", "vtk"}
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
        opens_viewer = mine == "cli" and other == "viewer"
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


def test_no_import_cycle_between_our_modules():
    """Imports at the head of a file (not those inside functions) form no circle."""
    from graphlib import TopologicalSorter

    names = {own_name(f).removesuffix(".__init__"): f for f in FILES}
    graph: dict[str, set[str]] = {}
    for name, file in names.items():
        tree = ast.parse(file.read_text("utf-8"))
        heads = ast.Module([n for n in tree.body if isinstance(n, ast.Import | ast.ImportFrom)], [])
        found = {m for m, _ in imports(heads)}
        found |= {
            f"{n.module}.{a.name}" for n in heads.body if isinstance(n, ast.ImportFrom) for a in n.names if n.module
        }
        graph[name] = {m for m in found if m in names and m != name}
    assert len(tuple(TopologicalSorter(graph).static_order())) >= len(names)
