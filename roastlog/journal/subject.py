"""Subjects of entries, written as a word for their kind and a name: “batch 26332-01C”, “lot HU-7”, or only “house”."""

from dataclasses import dataclass
from typing import Final, Self

from roastlog.errors import EntryRefused
from roastlog.languages import _

BATCH, LOT, MACHINE, PERSON = "batch", "lot", "machine", "person"
PRODUCT, BLEND, PACK, ORDER, CUSTOMER = "product", "blend", "pack", "order", "customer"
RECALL = "recall"
HOUSE = "house"
NAMED: Final = (BATCH, LOT, MACHINE, PERSON, PRODUCT, BLEND, PACK, ORDER, CUSTOMER, RECALL)
SUBJECTS: Final = (*NAMED, HOUSE)
LONGEST: Final = 200


@dataclass(frozen=True, order=True)
class Subject:
    """A subject by its kind and name; the house has no name."""

    kind: str
    name: str = ""

    @classmethod
    def parse(cls, text: str) -> Self:
        """Parse a subject: the word for its kind, then its name.

        Raises
        ------
        EntryRefused
            If this version does not know the kind, or the name is missing, superfluous or invalid.
        """
        subject = cls.kept(text)
        if subject.kind not in SUBJECTS:
            raise EntryRefused(
                _(
                    "An entry is about one of {kinds}, not “{kind}”.",
                    kind=subject.kind[:40],
                    kinds=", ".join(SUBJECTS),
                )
            )
        if subject.kind == HOUSE and subject.name:
            raise EntryRefused(_("The house has no name: “about” must be “house”."))
        if subject.kind != HOUSE and not subject.name:
            raise EntryRefused(
                _("Name the {kind}: “about” must be “{kind}”, a space, and its name.", kind=subject.kind)
            )
        if len(subject.name) > LONGEST or not subject.name.isprintable():
            raise EntryRefused(_("Name in “about” must be at most {most} characters of plain text.", most=str(LONGEST)))
        return subject

    @classmethod
    def kept(cls, text: str) -> Self:
        """Parse a subject from the journal without checks, since a newer version may have written it."""
        kind, _space, name = text.strip().partition(" ")
        return cls(kind, name.strip())

    def __str__(self) -> str:
        """The subject as written in entries."""
        return f"{self.kind} {self.name}" if self.name else self.kind
