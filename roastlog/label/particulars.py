"""The mandatory particulars of prepacked roast coffee in the European Union, and what a label lacks of them.

Information, not advice. For coffee of one ingredient, neither a list of ingredients (Art. 19) nor a nutrition
declaration (Annex V) is asked for; flavoured coffee needs more than this list. All of it is [memory]: the texts of the
law were not at hand. Other countries ask for other words, which go into a label's free text.
"""

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Final

from roastlog.label.layout import Label, Layout
from roastlog.label.limits import FIGURES_SOURCE, X_SOURCE, least_figures_mm, least_x_mm
from roastlog.languages import N_, _

FOOD_INFORMATION: Final = "Regulation (EU) No 1169/2011, "
MEMORY: Final = "memory"  # the confidence of all of them, as in the project's reference facts


@dataclass(frozen=True)
class Particular:
    """One thing that the law asks of a label.

    ``part`` is its name in a layout; ``said`` gives its text on a label; ``condition`` is empty if it is always needed.
    """

    part: str
    name: str
    source: str
    said: Callable[[Label], str | None]
    condition: str = ""
    confidence: str = MEMORY


@dataclass(frozen=True)
class Missing:
    """A particular that a label lacks, the reason as a sentence, and where the law says so."""

    particular: Particular
    reason: str
    source: str

    @property
    def is_certain(self) -> bool:
        """Whether every label needs it; else only one to which the particular's condition applies."""
        return not self.particular.condition


PARTICULARS: Final = (
    Particular("food", N_("Name of the food"), FOOD_INFORMATION + "Art. 9(1)(a), 17", lambda label: label.food),
    Particular("net_weight", N_("Net weight"), FOOD_INFORMATION + "Art. 9(1)(e), 23", lambda label: label.net_weight),
    Particular(
        "best_before",
        N_("Best before"),
        FOOD_INFORMATION + "Art. 9(1)(f), 24, Annex X",
        lambda label: label.best_before,
    ),
    Particular(
        "operator",
        N_("Name and address of the business"),
        FOOD_INFORMATION + "Art. 8(1), 9(1)(h)",
        lambda label: label.business and label.address,
    ),
    Particular("code", N_("Lot mark"), "Directive 2011/91/EU, Art. 1, 4", lambda label: label.code),
    Particular(
        "storage",
        N_("Storage"),
        FOOD_INFORMATION + "Art. 9(1)(g), 25",
        lambda label: label.storage,
        N_("Needed if the coffee keeps until its date only under certain conditions."),
    ),
    Particular(
        "origin",
        N_("Origin"),
        FOOD_INFORMATION + "Art. 9(1)(i), 26(2)(a)",
        lambda label: label.origin,
        N_("Needed if the label would mislead without it, for example by a name or a picture of another country."),
    ),
)


def missing(placed: Layout) -> tuple[Missing, ...]:
    """Particulars that a label lacks as it is laid out, in the law's order; each at most once.

    A printed one counts as lacking too if it was cut, or is smaller than the law's least height.
    """
    return tuple(
        Missing(particular, reason, source)
        for particular in PARTICULARS
        for reason, source in [*_faults(particular, placed)][:1]
    )


def _faults(particular: Particular, placed: Layout) -> Iterator[tuple[str, str]]:
    """The faults of one particular, the gravest first."""
    label, part, source = placed.label, particular.part, particular.source
    lines = [line for line in placed.lines if line.part == part]
    if not (particular.said(label) or "").strip():
        yield _("Not given."), source
        return
    if part in placed.shortened or not lines:
        yield _("Does not fit on this label. Choose a larger one, or fewer words."), source
        return
    if part == "code" and not label.code.strip().startswith("L"):
        yield _("A lot mark begins with L."), "Directive 2011/91/EU, Art. 4"
    if part == "net_weight":
        if not re.search(r"[0-9]\s*k?g\b", label.net_weight or ""):
            yield _("Must be in g or kg."), source
        figures_mm = min(line.figure_height_mm for line in lines)
        least_mm = least_figures_mm(label.net_g or 0.0)
        if figures_mm < least_mm - 1e-9:
            yield (
                _(
                    "Its figures are {found:.1f} mm high; the law asks for {least:.1f} mm. Choose a larger label.",
                    found=figures_mm,
                    least=least_mm,
                ),
                FIGURES_SOURCE,
            )
    x_mm = min(line.x_height_mm for line in lines)
    least_x = least_x_mm(small_pack=label.small_pack)
    if x_mm < least_x - 1e-9:
        yield (
            _(
                "Its letter x is {found:.2f} mm high; the law asks for {least:.1f} mm. Choose a larger label.",
                found=x_mm,
                least=least_x,
            ),
            X_SOURCE,
        )
