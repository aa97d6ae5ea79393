"""Check weights of packed bags: what is given away, and the rules for prepackages of one nominal weight.

The rules are those of EU Directive 76/211/EEC, Annex I [from memory, not verified]: the mean is not below the nominal
weight, no more than 2.5 % of the bags are short of it by more than the tolerable negative error, and none by more than
twice that. The directive tests a whole lot of bags by sampling plans; a few check weights only give a warning.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import fmean
from typing import Final

from roastlog.languages import _, joined, ngettext, numeral

LEAST_G, MOST_G = 5, 10_000
MOST_SHORT: Final = 0.025
# Up to a nominal weight [g]: the tolerable negative error, in g or as a share of it [from memory, not verified].
_ERRORS: Final = (
    (50, None, 0.09),
    (100, 4.5, None),
    (200, None, 0.045),
    (300, 9.0, None),
    (500, None, 0.03),
    (1000, 15.0, None),
    (MOST_G, None, 0.015),
)


def tolerable_error_g(nominal_g: float) -> float | None:
    """Tolerable negative error of a bag; None for a nominal weight outside of 5 g to 10 kg. [g]

    An error given in per cent is rounded up to the next tenth of a gram.
    """
    if not LEAST_G <= nominal_g <= MOST_G:
        return None
    error_g, share = next((error_g, share) for most_g, error_g, share in _ERRORS if nominal_g <= most_g)
    if error_g is not None:
        return error_g
    return math.ceil(round(10 * nominal_g * (share or 0.0), 6)) / 10


@dataclass(frozen=True)
class CheckWeights:
    """Net weights of the bags that were checked, against their nominal weight. [g]"""

    weights_g: Sequence[float]
    nominal_g: float

    @property
    def mean_g(self) -> float:
        """Mean net weight. [g]"""
        return fmean(self.weights_g)

    @property
    def give_away_g(self) -> float:
        """Mean weight above the nominal one; below 0 where the bags are short. [g]"""
        return self.mean_g - self.nominal_g

    @property
    def give_away(self) -> float:
        """The same as a share of the nominal weight."""
        return self.give_away_g / self.nominal_g

    @property
    def error_g(self) -> float | None:
        """Tolerable negative error of these bags. [g]"""
        return tolerable_error_g(self.nominal_g)

    def short_by(self, errors: int) -> int:
        """Bags that lack more than so many tolerable negative errors."""
        if self.error_g is None:
            return 0
        least_g = self.nominal_g - errors * self.error_g
        return sum(weight_g < least_g - 1e-9 for weight_g in self.weights_g)

    @property
    def short(self) -> float:
        """Share of the bags that lack more than the tolerable negative error."""
        return self.short_by(1) / len(self.weights_g)

    @property
    def faults(self) -> list[str]:
        """A sentence for each rule that the bags break; empty where they pass."""
        faults = []
        if self.give_away_g < -1e-9:
            faults.append(
                _(
                    "The mean, {mean:.1f} g, is below the nominal {nominal:g} g: fill more.",
                    mean=self.mean_g,
                    nominal=float(self.nominal_g),
                )
            )
        twice = self.short_by(2)
        if twice:
            faults.append(
                ngettext(
                    "{count} bag lacks more than twice the tolerable {error} g: it must not be sold.",
                    "{count} bags lack more than twice the tolerable {error} g: they must not be sold.",
                    twice,
                    count=twice,
                    error=numeral(self.error_g or 0.0),
                )
            )
        if self.short > MOST_SHORT:
            short = self.short_by(1)
            faults.append(
                ngettext(
                    "{count} of {all} bags lacks more than the tolerable {error} g; at most 2.5 % may.",
                    "{count} of {all} bags lack more than the tolerable {error} g; at most 2.5 % may.",
                    short,
                    count=short,
                    all=len(self.weights_g),
                    error=numeral(self.error_g or 0.0),
                )
            )
        return faults

    @property
    def sentence(self) -> str:
        """The mean and what is given away, in words."""
        mean = _("Mean {mean:.1f} g of {count} checked", mean=self.mean_g, count=len(self.weights_g))
        away = _("{grams:+.1f} g ({share:+.1%}) a bag", grams=self.give_away_g, share=self.give_away)
        return joined(" · ", [mean, away])
