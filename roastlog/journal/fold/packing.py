"""Blends of roasted coffee, and packs: their facts, and each line with its flags."""

from collections.abc import Iterable
from dataclasses import dataclass

from roastlog.journal.entries import Entry
from roastlog.journal.fold.lines import Line, Lines, body_as, with_first
from roastlog.journal.kinds.packing import Blended, Packed


@dataclass(frozen=True)
class Blend(Lines):
    """A blend folded from its entries; ``blended`` is the line that counts, None if there is none."""

    code: str
    blended: Line | None
    lines: tuple[Line, ...] = ()

    @property
    def facts(self) -> Blended | None:
        """The batches that it was made of."""
        return None if self.blended is None else body_as(Blended, self.blended.body)

    @property
    def sources(self) -> list[str]:
        """Codes of the batches and blends that it was made of."""
        return [] if self.facts is None else [part.batch for part in self.facts.parts]


@dataclass(frozen=True)
class Pack(Lines):
    """A pack folded from its entries; ``packed`` is the line that counts, None if there is none."""

    code: str
    packed: Line | None
    lines: tuple[Line, ...] = ()

    @property
    def facts(self) -> Packed | None:
        """The batches that it was packed from, and its bags."""
        return None if self.packed is None else body_as(Packed, self.packed.body)

    @property
    def sources(self) -> list[str]:
        """Codes of the batches and blends that it was packed from."""
        return [] if self.facts is None else [part.batch for part in self.facts.parts]

    @property
    def bag_g(self) -> int:
        """Nominal weight of a bag; of bags whose packing was undone too, for some may be sold. 0 if unknown. [g]"""
        line = self.packed or next((line for line in self.lines if line.kind == "packed"), None)
        return 0 if line is None else int(line.body["bag_g"])

    @property
    def bags(self) -> int:
        """Bags that were packed."""
        return 0 if self.packed is None else int(self.packed.body["count"])

    @property
    def sold(self) -> int:
        """Bags that customers got and have not returned."""
        sold, returned = ([int(line.body["count"]) for line in self.of(kind)] for kind in ("sold", "returned"))
        return sum(sold) - sum(returned)


def fold_blend(entries: Iterable[Entry], code: str) -> Blend:
    """Fold entries into a blend; the first blending counts, and further ones are flagged as doubled."""
    blended, lines = with_first(entries, "blended")
    return Blend(code, blended, lines)


def fold_pack(entries: Iterable[Entry], code: str) -> Pack:
    """Fold entries into a pack; the first packing counts, and further ones are flagged as doubled."""
    packed, lines = with_first(entries, "packed")
    return Pack(code, packed, lines)
