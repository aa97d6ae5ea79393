"""Folding: the state of a subject is computed from its journal entries. `lines` is common to all kinds of subject."""

from roastlog.journal.fold.batch import LONGEST_ROAST_S, Batch, BatchFold, fold
from roastlog.journal.fold.house import House, Person, fold_house, fold_person
from roastlog.journal.fold.lines import Line, Lines, lines_of
from roastlog.journal.fold.lot import Lot, fold_lot
from roastlog.journal.fold.machine import MachineHistory, fold_machine
from roastlog.journal.fold.movements import Account, Count, Movement, Postings, postings_of
from roastlog.journal.fold.packing import Blend, Pack, fold_blend, fold_pack
from roastlog.journal.fold.recall import Recall, fold_recall
from roastlog.journal.fold.sales import Customer, Order, Product, fold_customer, fold_order, fold_product

__all__ = [
    "LONGEST_ROAST_S",
    "Account",
    "Batch",
    "BatchFold",
    "Blend",
    "Count",
    "Customer",
    "House",
    "Line",
    "Lines",
    "Lot",
    "MachineHistory",
    "Movement",
    "Order",
    "Pack",
    "Person",
    "Postings",
    "Product",
    "Recall",
    "fold",
    "fold_blend",
    "fold_customer",
    "fold_house",
    "fold_lot",
    "fold_machine",
    "fold_order",
    "fold_pack",
    "fold_person",
    "fold_product",
    "fold_recall",
    "lines_of",
    "postings_of",
]
