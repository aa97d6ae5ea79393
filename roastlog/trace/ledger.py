"""The ledger: movements of all subjects with the differences that counts found, and balances of accounts."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping

from roastlog.journal.fold import Account, Count, Movement, Postings
from roastlog.journal.fold.movements import DIFFERENCE


def movements_of(postings: Iterable[Postings]) -> list[Movement]:
    """All movements by time: those of the subjects, and one for each count that differs from the books. [g]"""
    movements: list[Movement] = []
    counts: dict[Account, list[Count]] = defaultdict(list)
    for posting in postings:
        movements += posting.movements
        for count in posting.counts:
            counts[count.account].append(count)
    found = [found for account, made in counts.items() for found in differences(account, movements, made)]
    return sorted([*movements, *found])


def differences(account: Account, movements: Iterable[Movement], counts: Iterable[Count]) -> Iterator[Movement]:
    """The movements by which the books of an account follow its counts.

    A count holds at its time, so a movement that is entered or corrected later, but lies before it, changes the
    difference and not the stock.

    Parameters
    ----------
    account
        The account that was counted.
    movements
        Movements of any accounts, without those of counts, in any order.
    counts
        Its counts, in any order.
    """
    changes = sorted((one.at_ms, change_g) for one in movements if (change_g := _change_g(one, account)))
    held_g, done = 0, 0
    for count in sorted(counts):
        while done < len(changes) and changes[done][0] <= count.at_ms:
            held_g += changes[done][1]
            done += 1
        if held_g > count.grams:
            yield Movement(count.at_ms, count.entry, account, DIFFERENCE, held_g - count.grams)
        elif held_g < count.grams:
            yield Movement(count.at_ms, count.entry, DIFFERENCE, account, count.grams - held_g)
        held_g = count.grams


def balances(movements: Iterable[Movement]) -> Mapping[Account, int]:
    """Grams that each account holds; they add up to 0. A source of coffee, and a stock that ran short, are below 0."""
    held: dict[Account, int] = defaultdict(int)
    for one in movements:
        held[one.source] -= one.grams
        held[one.target] += one.grams
    return held


def history(account: Account, movements: Iterable[Movement]) -> list[tuple[Movement, int]]:
    """The movements of one account by time, each with the balance after it. [g]"""
    rows, held_g = [], 0
    for one in sorted(movements):
        change_g = _change_g(one, account)
        if change_g:
            held_g += change_g
            rows.append((one, held_g))
    return rows


def _change_g(movement: Movement, account: Account) -> int:
    """The change that a movement makes to an account. [g]"""
    return movement.grams * ((movement.target == account) - (movement.source == account))
