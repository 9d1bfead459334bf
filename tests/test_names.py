"""One name, one meaning: no two classes, and no two type aliases that differ, have the same name."""

from __future__ import annotations

import ast
from collections import defaultdict
from pathlib import Path

ROOT = Path(__file__).parents[1]


def test_no_name_of_a_class_or_a_type_means_two_things():
    meanings: dict[str, set[str]] = defaultdict(set)
    for folder in ("kin3d", "viewer"):
        for file in sorted((ROOT / folder).rglob("*.py")):
            tree = ast.parse(file.read_text("utf-8"))
            for node in ast.walk(tree):
                if isinstance(node, ast.ClassDef):
                    meanings[node.name].add(f"{file.relative_to(ROOT)}:{node.lineno}")
            for node in tree.body:
                target = node.targets[0] if isinstance(node, ast.Assign) else None
                if isinstance(target, ast.Name) and target.id[0].isupper() and not target.id.isupper():
                    meanings[target.id].add(f"= {ast.unparse(node.value)}")  # the same alias may stand in two files
    assert len(meanings) > 300
    assert {name: places for name, places in meanings.items() if len(places) > 1} == {}
