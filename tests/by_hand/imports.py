"""How many others each module imports: ``python -m tests.by_hand.imports [MOST]`` from the repository's root.

Printed are all that import more than MOST (default 10), with two counts: everything, and own modules and packages from
outside without the standard library (``numpy`` and ``numpy.typing`` are one). Imports inside functions and for types
count.
"""

from __future__ import annotations

import ast
import sys
from pathlib import Path

ROOT = Path(__file__).parents[2]
FOLDERS = (ROOT / "kin3d", ROOT / "viewer" / "kin3d_viewer")


def imported(file: Path, modules: set[str]) -> set[str]:
    """Modules that a file imports anywhere in it."""
    out: set[str] = set()
    for node in ast.walk(ast.parse(file.read_text("utf-8"))):
        if isinstance(node, ast.Import):
            out |= {a.name for a in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module and node.module != "__future__":
            inner = {f"{node.module}.{a.name}" for a in node.names}
            own = inner & modules  # modules taken from a package
            out |= own or {node.module}
    return out


def main(most: int) -> None:
    """Print the list and the shares."""
    files = [(f, ".".join(f.relative_to(d.parent).with_suffix("").parts)) for d in FOLDERS for f in d.rglob("*.py")]
    names = {name.removesuffix(".__init__") for _, name in files}
    rows = []
    for file, name in files:
        found = imported(file, names)
        own = {m for m in found if m.partition(".")[0] in ("kin3d", "kin3d_viewer")}
        packages = {m.partition(".")[0] for m in found - own} - sys.stdlib_module_names
        rows.append((len(own | packages), len(found), name))
    for row in sorted(rows, reverse=True):
        if max(row[:2]) > most:
            print("{:3d} {:3d}  {}".format(*row))
    for k, what in ((1, "everything"), (0, "own modules and packages from outside")):
        many = sum(r[k] > most for r in rows)
        print(f"{what}: {many} of {len(rows)} modules import more than {most} others ({100 * many / len(rows):.0f} %)")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 10)
