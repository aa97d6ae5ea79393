"""Heights of type that European law asks of prepacked food. Information, not advice.

All figures here are [memory]: the texts of the law were not at hand. Regulation (EU) No 1169/2011, Article 13(2), (3)
and Annex IV, has the height of the letter x; Directive 76/211/EEC, Annex I, has the height of the figures of the net
quantity, which the laws of the member states repeat.
"""

from typing import Final

X_SOURCE: Final = "Regulation (EU) No 1169/2011, Art. 13(2)–(3), Annex IV"
FIGURES_SOURCE: Final = "Directive 76/211/EEC, Annex I, 3.1"

LEAST_X_MM: Final = 1.2  # [memory]
LEAST_X_SMALL_PACK_MM: Final = 0.9  # [memory] if the largest side of the pack is under 80 cm²
_FIGURES_MM: Final = ((50.0, 2.0), (200.0, 3.0), (1000.0, 4.0))  # [memory] up to so many grams
_FIGURES_ABOVE_MM: Final = 6.0  # [memory]


def least_x_mm(*, small_pack: bool) -> float:
    """Least height of the letter x in what the law asks for."""
    return LEAST_X_SMALL_PACK_MM if small_pack else LEAST_X_MM


def least_figures_mm(net_g: float) -> float:
    """Least height of the figures of a net weight."""
    return next((height_mm for most_g, height_mm in _FIGURES_MM if net_g <= most_g), _FIGURES_ABOVE_MM)
