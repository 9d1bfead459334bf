"""How many entities a drawing has once its block references are resolved, told before any is taken apart.

Blocks within blocks and arrays of them multiply: eight levels of ten references are a hundred million entities in a
file of a few kilobytes. The count is a least one: a block that may be one point's symbol counts once however much is in
it, and what is hidden not at all.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Container, Iterable
from functools import cache
from typing import TYPE_CHECKING, Any

from kin3d.reading.dxf_file import faults

if TYPE_CHECKING:
    from ezdxf.document import Drawing

MAX_DEPTH = 12  # block references inside block references
MAX_SYMBOL = 16  # entities of a block that may be one point's symbol


def least_count(doc: Drawing, hidden_layers: Container[str], entities: Iterable[Any]) -> int:
    """Return how many entities block references stand for at least; every block is looked at once a level."""
    stumbles = faults()

    def references(among: Iterable[Any]) -> Counter[str]:
        found: Counter[str] = Counter()
        for entity in among:
            try:
                if entity.dxftype() != "INSERT" or entity.dxf.get("invisible", 0):
                    continue
                if str(entity.dxf.get("layer", "0")).lower() not in hidden_layers:
                    found[str(entity.dxf.name)] += max(1, int(entity.mcount))
            except stumbles:
                continue  # it is told when it is read
        return found

    @cache
    def behind(name: str, depth: int) -> int:
        if depth > MAX_DEPTH or (block := doc.blocks.get(name)) is None:
            return 1
        nested, plain = references(block), sum(1 for e in block if e.dxftype() != "INSERT")
        plain = 0 if plain <= MAX_SYMBOL and not nested else plain
        return 1 + plain + sum(count * behind(inner, depth + 1) for inner, count in nested.items())

    return sum(count * behind(name, 1) for name, count in references(entities).items())
