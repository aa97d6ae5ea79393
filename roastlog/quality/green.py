"""Green coffee at its intake: full defects, density by a fixed volume, and the published limits for a specialty lot.

The limits are those of the washed arabica classification (SCA poster, 2018), read in a copy; they are no law, and a
contract may say otherwise.
"""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Final, Literal, get_args

from roastlog.journal.kinds.green import Checked
from roastlog.journal.vocabulary import Defect, FirstCategory, SecondCategory
from roastlog.languages import N_, _, numeral, translate

FIRST_CATEGORY: Final[tuple[FirstCategory, ...]] = get_args(FirstCategory)
SECOND_CATEGORY: Final[tuple[SecondCategory, ...]] = get_args(SecondCategory)
BEANS_PER_FULL_DEFECT: Final[Mapping[Defect, int]] = {
    "full_black": 1,
    "full_sour": 1,
    "pod": 1,
    "fungus": 1,
    "foreign_matter": 1,
    "severe_insect": 5,
    "partial_black": 3,
    "partial_sour": 3,
    "parchment": 5,
    "floater": 5,
    "immature": 5,
    "withered": 5,
    "shell": 5,
    "broken": 5,
    "hull": 5,
    "slight_insect": 10,
}
"""Affected beans that count as one full defect [read: poster of 2018]."""

SAMPLE_G: Final = 350.0
MOISTURE_PERCENT: Final = (10.0, 12.0)
WATER_ACTIVITY: Final = 0.70
MOST_SECOND: Final = 5
SCREEN_TOLERANCE: Final = 5.0

POSTER: Final = N_("SCA poster 2018 on washed arabica, read in a copy")
POSTER_COUNT: Final = N_("SCA poster 2018, read in a copy; that only whole full defects count is from memory")

Verdict = Literal["within", "outside", "unknown"]


@dataclass(frozen=True)
class Finding:
    """One measured figure beside its published limit; ``value`` and ``limit`` are words."""

    name: str
    value: str
    limit: str
    source: str
    verdict: Verdict
    binding: bool = True
    """Whether the limit decides; one for information only does not."""


def full_defects(beans: Mapping[Defect, int], category: Collection[Defect]) -> int:
    """Full defects of a category: whole ones of each kind only, so that 7 broken beans are 1 [memory]."""
    return sum(beans.get(kind, 0) // BEANS_PER_FULL_DEFECT[kind] for kind in category)


def density_g_l(mass_g: float, volume_ml: float) -> float:
    """Bulk density of beans that fill a fixed volume. [g/l]"""
    return mass_g / volume_ml * 1000


def findings(checked: Checked) -> list[Finding]:
    """The figures of a check that have a published limit, each with its verdict, in the order of the poster."""
    found = []
    if checked.moisture_percent is not None:
        low, high = MOISTURE_PERCENT
        limit = _("{low} to {high} %", low=numeral(low), high=numeral(high))
        value, inside = f"{numeral(checked.moisture_percent)}\u00a0%", low <= checked.moisture_percent <= high
        found.append(_finding(N_("Moisture"), value, limit, inside=inside))
    if checked.water_activity is not None:
        limit, inside = _("below {most}", most=numeral(WATER_ACTIVITY, ".2f")), checked.water_activity < WATER_ACTIVITY
        found.append(_finding(N_("Water activity"), numeral(checked.water_activity, ".2f"), limit, inside=inside))
    if checked.defects is not None:
        found += _defect_findings(checked.defects, checked.sample_g)
    if checked.quakers is not None:
        limit = _("none in 100 g roasted")
        found.append(_finding(N_("Quakers"), str(checked.quakers), limit, inside=checked.quakers == 0))
    if checked.screen_percent is not None and checked.screen_ordered_percent is not None:
        least = checked.screen_ordered_percent - SCREEN_TOLERANCE
        limit = _("at least {least} %, as ordered less 5; for information", least=numeral(least))
        inside = checked.screen_percent >= least
        value = f"{numeral(checked.screen_percent)}\u00a0%"
        found.append(_finding(N_("Screen size"), value, limit, inside=inside, binding=False))
    return found


def all_within(found: Collection[Finding]) -> bool | None:
    """Whether all limits that decide are kept; None where a count cannot be compared, or nothing was measured."""
    verdicts = {one.verdict for one in found if one.binding}
    if "outside" in verdicts:
        return False
    return None if not verdicts or "unknown" in verdicts else True


def _defect_findings(beans: Mapping[Defect, int], sample_g: float | None) -> list[Finding]:
    first, second = full_defects(beans, FIRST_CATEGORY), full_defects(beans, SECOND_CATEGORY)
    return [
        Finding(
            translate(N_("Full defects, category 1")),
            str(first),
            _("none in {sample} g", sample=numeral(SAMPLE_G)),
            translate(POSTER_COUNT),
            _counted(first, 0, sample_g),
        ),
        Finding(
            translate(N_("Full defects, category 2")),
            str(second),
            _("at most {most} in {sample} g", most=MOST_SECOND, sample=numeral(SAMPLE_G)),
            translate(POSTER_COUNT),
            _counted(second, MOST_SECOND, sample_g),
        ),
    ]


def _counted(defects: int, most: int, sample_g: float | None) -> Verdict:
    """The verdict on a count; unknown where a smaller sample has few, or a larger one many."""
    inside, grams = defects <= most, SAMPLE_G if sample_g is None else sample_g
    if (inside and grams < SAMPLE_G) or (not inside and grams > SAMPLE_G):
        return "unknown"
    return "within" if inside else "outside"


def _finding(name: str, value: str, limit: str, *, inside: bool, binding: bool = True) -> Finding:
    return Finding(translate(name), value, limit, translate(POSTER), "within" if inside else "outside", binding)
