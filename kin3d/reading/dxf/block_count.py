"""How many entities a drawing has once its block references are resolved, told before any is taken apart.

Blocks within blocks and arrays of them multiply: eight levels of ten references are a hundred million entities in a
file of a few kilobytes. The count is a least one: a block that may be one point's symbol counts once however much is in
it, and what is hidden not at all.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Container, Iterable
from typing import TYPE_CHECKING, Any

from kin3d.reading.dxf.opening import FAULTS

if TYPE_CHECKING:
    from ezdxf.document import Drawing

MAX_DEPTH = 12  # block references inside block references
MAX_SYMBOL = 16  # entities of a block that may be one point's symbol


class BlockCount:
    """Counts what block references stand for; every block is looked at once, and once more a level it is used on."""

    def __init__(self, doc: Drawing, hidden_layers: Container[str]) -> None:
        from ezdxf.lldxf.const import DXFError

        self._faults = (DXFError, *FAULTS)
        self._doc = doc
        self._hidden = hidden_layers
        self._held: dict[str, tuple[int, Counter[str]]] = {}
        self._counted: dict[tuple[str, int], int] = {}

    def at_least(self, entities: Iterable[Any]) -> int:
        """Return how many entities these block references stand for at least."""
        return sum(count * self._behind(name, 1) for name, count in self._references(entities).items())

    def _references(self, entities: Iterable[Any]) -> Counter[str]:
        """Return how often blocks are put in by these entities, arrays counted out."""
        found: Counter[str] = Counter()
        for entity in entities:
            try:
                if entity.dxftype() == "INSERT" and not self._is_hidden(entity):
                    found[str(entity.dxf.name)] += max(1, int(entity.mcount))
            except self._faults:
                continue  # it is told when it is read
        return found

    def _is_hidden(self, insert: Any) -> bool:
        return str(insert.dxf.get("layer", "0")).lower() in self._hidden or bool(insert.dxf.get("invisible", 0))

    def _behind(self, name: str, depth: int) -> int:
        """Return the count of one reference to a block, itself included; `depth` references lead to it."""
        block = self._doc.blocks.get(name) if depth <= MAX_DEPTH else None
        if block is None:
            return 1
        if (name, depth) not in self._counted:
            plain, nested = self._inside(name, block)
            inside = sum(count * self._behind(inner, depth + 1) for inner, count in nested.items())
            self._counted[name, depth] = 1 + plain + inside
        return self._counted[name, depth]

    def _inside(self, name: str, block: Any) -> tuple[int, Counter[str]]:
        """Return how many plain entities a block holds, 0 for a symbol, and the blocks in it with their number."""
        if name not in self._held:
            nested = self._references(block)
            plain = sum(1 for e in block if e.dxftype() != "INSERT")
            self._held[name] = (0 if plain <= MAX_SYMBOL and not nested else plain, nested)
        return self._held[name]
