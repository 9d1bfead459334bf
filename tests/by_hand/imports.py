"""How many others each module imports: ``python -m tests.by_hand.imports [MOST]`` from the repository's root.

Counted are modules, own and third party, each once; the standard library, what stands for types alone
(``if TYPE_CHECKING``) and ``__future__`` are not told apart from the rest unless asked: three columns are printed, all
imports, without the standard library, own alone. The list is of those with more than MOST (default 10) in all.
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
    """Print the list and the share."""
    files = {f: ".".join(f.relative_to(d.parent).with_suffix("").parts) for d in FOLDERS for f in sorted(d.rglob("*.py"))}
    names = {n.removesuffix(".__init__") for n in files.values()}
    rows = []
    for file, name in files.items():
        found = imported(file, names)
        outside = {m for m in found if m.partition(".")[0] not in sys.stdlib_module_names}
        own = {m for m in found if m.partition(".")[0] in ("kin3d", "kin3d_viewer")}
        rows.append((len(found), len(outside), len(own), name))
    for row in sorted(rows, reverse=True):
        if row[0] > most:
            print("{:4d} {:4d} {:4d}  {}".format(*row))
    for k, what in enumerate(("all imports", "without the standard library", "own alone")):
        many = sum(r[k] > most for r in rows)
        print(f"{what}: {many} of {len(rows)} modules import more than {most} others ({100 * many / len(rows):.0f} %)")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 10)
