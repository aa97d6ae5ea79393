"""Folding: the state of a subject is computed from its journal entries. `lines` is common to all kinds of subject."""

from roastlog.journal.fold.batch import LONGEST_ROAST_S, Batch, BatchFold, fold
from roastlog.journal.fold.house import House, Person, fold_house, fold_person
from roastlog.journal.fold.lines import Line, Lines, lines_of
from roastlog.journal.fold.lot import Lot, fold_lot
from roastlog.journal.fold.machine import MachineHistory, fold_machine

__all__ = [
    "LONGEST_ROAST_S",
    "Batch",
    "BatchFold",
    "House",
    "Line",
    "Lines",
    "Lot",
    "MachineHistory",
    "Person",
    "fold",
    "fold_house",
    "fold_lot",
    "fold_machine",
    "fold_person",
    "lines_of",
]
