"""The words of the journal: moments, trier stages, aroma words, ways a crack can sound."""

from typing import Final, Literal, get_args

MomentName = Literal["charge", "yellow", "first_crack", "first_crack_fading", "second_crack", "drop"]
Stage = Literal["green", "pale", "yellow", "tan", "light_brown", "brown"]
Vigour = Literal["sparse", "steady", "violent"]
Decision = Literal["release", "hold", "reject"]

MOMENTS: Final[tuple[MomentName, ...]] = get_args(MomentName)
STAGES: Final[tuple[Stage, ...]] = get_args(Stage)

MOMENT_LABELS: Final[dict[str, str]] = {
    "charge": "Charge",
    "turning_point": "Turning point",
    "yellow": "Yellow",
    "first_crack": "First crack",
    "first_crack_fading": "First crack fading",
    "second_crack": "Second crack",
    "drop": "Drop",
}
STAGE_LABELS: Final[dict[str, str]] = {stage: stage.replace("_", " ") for stage in STAGES}

# The moments that the pad waits for, in their order. The others are there for whom they concern.
EXPECTED: Final[tuple[MomentName, ...]] = ("charge", "yellow", "first_crack", "drop")

# What each stage tends to give comes first; any word may be said at any stage (common practice, no standard).
AROMA_BY_STAGE: Final[dict[str, tuple[str, ...]]] = {
    "green": ("grass", "hay", "damp wood", "pea"),
    "pale": ("hay", "straw", "rice", "warm grain"),
    "yellow": ("bread", "hay", "biscuit", "popped corn"),
    "tan": ("bread", "toast", "malt", "biscuit"),
    "light_brown": ("toast", "malt", "nut", "caramel", "vinegar"),
    "brown": ("caramel", "fruit", "flower", "cocoa", "smoke"),
}
AROMA_WORDS: Final[tuple[str, ...]] = (
    "grass",
    "hay",
    "straw",
    "bread",
    "biscuit",
    "toast",
    "malt",
    "nut",
    "caramel",
    "cocoa",
    "fruit",
    "flower",
    "honey",
    "vinegar",
    "paper",
    "smoke",
)


def purpose(intent: str | None) -> str:
    """What a batch is for, as one says it to a stranger: “for both” would leave open what both are."""
    return f"for {'filter and espresso' if intent == 'both' else intent}" if intent else ""
