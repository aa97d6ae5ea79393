"""The vocabulary of the journal: moments, trier stages, aroma words, vigour of first crack."""

from typing import Final, Literal, get_args

from roastlog.languages import N_, _

MomentName = Literal["charge", "yellow", "first_crack", "first_crack_fading", "second_crack", "drop"]
Stage = Literal["green", "pale", "yellow", "tan", "light_brown", "brown", "dark_brown", "almost_black"]
Vigour = Literal["sparse", "steady", "violent"]
Decision = Literal["release", "hold", "reject"]
# Defects of green coffee by category, as the washed arabica classification names them (SCA poster 2018) [verified].
FirstCategory = Literal["full_black", "full_sour", "pod", "fungus", "foreign_matter", "severe_insect"]
SecondCategory = Literal[
    "partial_black",
    "partial_sour",
    "parchment",
    "floater",
    "immature",
    "withered",
    "shell",
    "broken",
    "hull",
    "slight_insect",
]
Defect = FirstCategory | SecondCategory
Papers = Literal["invoice", "certificate", "photo", "other"]
TakenFor = Literal["sample", "waste", "gift", "returned"]

MOMENTS: Final[tuple[MomentName, ...]] = get_args(MomentName)
STAGES: Final[tuple[Stage, ...]] = get_args(Stage)

MOMENT_LABELS: Final[dict[str, str]] = {
    "charge": N_("Charge"),
    "turning_point": N_("Turning point"),
    "yellow": N_("Yellow"),
    "first_crack": N_("First crack"),
    "first_crack_fading": N_("First crack fading"),
    "second_crack": N_("Second crack"),
    "drop": N_("Drop"),
}
MOMENT_WORDS: Final[dict[str, str]] = {
    "charge": N_("charge"),
    "turning_point": N_("turning point"),
    "yellow": N_("yellow"),
    "first_crack": N_("first crack"),
    "first_crack_fading": N_("first crack fading"),
    "second_crack": N_("second crack"),
    "drop": N_("drop"),
}
"""The same within a sentence, where other languages may still use capitals."""

STAGE_LABELS: Final[dict[str, str]] = {
    "green": N_("green"),
    "pale": N_("pale"),
    "yellow": N_("yellow"),
    "tan": N_("tan"),
    "light_brown": N_("light brown"),
    "brown": N_("brown"),
    "dark_brown": N_("dark brown"),
    "almost_black": N_("almost black"),
}
STAGE_LETTERS: Final[dict[str, str]] = {
    "green": N_("G"),
    "pale": N_("P"),
    "yellow": N_("Y"),
    "tan": N_("T"),
    "light_brown": N_("L"),
    "brown": N_("B"),
    "dark_brown": N_("D"),
    "almost_black": N_("A"),
}
"""One or two letters of each label, where colour alone must not be the sign; distinct in every language."""

VIGOUR_WORDS: Final[dict[str, str]] = {"sparse": N_("sparse"), "steady": N_("steady"), "violent": N_("violent")}
PHASE_WORDS: Final[dict[str, str]] = {
    "before charge": N_("before charge"),
    "drying": N_("drying"),
    "browning": N_("browning"),
    "development": N_("development"),
}
STATE_WORDS: Final[dict[str, str]] = {
    "idle": N_("idle"),
    "open": N_("open"),
    "roasting": N_("roasting"),
    "cooling": N_("cooling"),
    "weighed": N_("weighed"),
    "released": N_("released"),
    "held": N_("held"),
    "rejected": N_("rejected"),
    "discarded": N_("discarded"),
}
UNDER_WAY: Final = frozenset({"open", "roasting"})
"""States of a batch before its drop."""
AT_MACHINE: Final = UNDER_WAY | {"cooling"}
COOLED_MS: Final = 3_600_000
"""Time after the drop at which the batch has cooled and the machine counts as idle. [ms]"""
DEFECT_WORDS: Final[dict[str, str]] = {
    "full_black": N_("full black"),
    "full_sour": N_("full sour"),
    "pod": N_("pod or cherry"),
    "fungus": N_("fungus"),
    "foreign_matter": N_("foreign matter"),
    "severe_insect": N_("severe insect damage"),
    "partial_black": N_("partial black"),
    "partial_sour": N_("partial sour"),
    "parchment": N_("parchment"),
    "floater": N_("floater"),
    "immature": N_("immature"),
    "withered": N_("withered"),
    "shell": N_("shell"),
    "broken": N_("broken"),
    "hull": N_("hull"),
    "slight_insect": N_("slight insect damage"),
}
LOT_STATE_WORDS: Final[dict[str, str]] = {
    "unchecked": N_("not checked"),
    "checked": N_("checked"),
    "accepted": N_("accepted"),
    "closed": N_("closed"),
}
"""States of a lot; a held or rejected one is called as a batch is."""
CONTACT_WORDS: Final[dict[str, str]] = {
    "phone": N_("by phone"),
    "mail": N_("by mail"),
    "in_person": N_("in person"),
}
PAPER_WORDS: Final[dict[str, str]] = {
    "invoice": N_("invoice"),
    "certificate": N_("certificate"),
    "photo": N_("photo"),
    "other": N_("another paper"),
}
LOT_STATES: Final = ("unchecked", "checked", "accepted", "held", "rejected", "closed")
TAKEN_WORDS: Final[dict[str, str]] = {
    "sample": N_("as a sample"),
    "waste": N_("as waste"),
    "gift": N_("as a gift"),
    "returned": N_("back to the supplier"),
}
SAMPLE_WORDS: Final[dict[str, str]] = {"whole": N_("whole"), "ground": N_("ground")}
INTENT_WORDS: Final[dict[str, str]] = {"filter": N_("filter"), "espresso": N_("espresso"), "both": N_("both")}

# The moments that the pad offers, in order. The others are optional.
EXPECTED: Final[tuple[MomentName, ...]] = ("charge", "yellow", "first_crack", "drop")

# Aroma words typical of each stage are offered first; any word may be used at any stage (common practice, no standard).
AROMA_BY_STAGE: Final[dict[str, tuple[str, ...]]] = {
    "green": ("grass", "hay", "damp wood", "pea"),
    "pale": ("hay", "straw", "rice", "warm grain"),
    "yellow": ("bread", "hay", "biscuit", "popped corn"),
    "tan": ("bread", "toast", "malt", "biscuit"),
    "light_brown": ("toast", "malt", "nut", "caramel", "vinegar"),
    "brown": ("caramel", "fruit", "flower", "cocoa", "smoke"),
    "dark_brown": ("cocoa", "caramel", "nut", "smoke"),
    "almost_black": ("smoke", "cocoa", "paper"),
}
AROMA_LABELS: Final[dict[str, str]] = {
    "grass": N_("grass"),
    "hay": N_("hay"),
    "straw": N_("straw"),
    "bread": N_("bread"),
    "biscuit": N_("biscuit"),
    "toast": N_("toast"),
    "malt": N_("malt"),
    "nut": N_("nut"),
    "caramel": N_("caramel"),
    "cocoa": N_("cocoa"),
    "fruit": N_("fruit"),
    "flower": N_("flower"),
    "honey": N_("honey"),
    "vinegar": N_("vinegar"),
    "paper": N_("paper"),
    "smoke": N_("smoke"),
    "damp wood": N_("damp wood"),
    "pea": N_("pea"),
    "rice": N_("rice"),
    "warm grain": N_("warm grain"),
    "popped corn": N_("popped corn"),
}
"""Labels by stored word, which is the English one. A person's own words are never translated."""

AROMA_WORDS: Final[tuple[str, ...]] = tuple(AROMA_LABELS)[:16]

_CALLED: Final[dict[str, str]] = {
    **PHASE_WORDS,
    **STATE_WORDS,
    **LOT_STATE_WORDS,
    **INTENT_WORDS,
    **AROMA_LABELS,
    **VIGOUR_WORDS,
    **SAMPLE_WORDS,
    **DEFECT_WORDS,
    **CONTACT_WORDS,
}


def called(word: str) -> str:
    """The label of a stored word, in the page's language; any other word unchanged."""
    return _(_CALLED[word]) if word in _CALLED else word


def purpose(intent: str | None) -> str:
    """The purpose of a batch, clear to any reader: “for both” would not say which two."""
    if not intent:
        return ""
    return _("for filter and espresso") if intent == "both" else _("for {intent}", intent=called(intent))
