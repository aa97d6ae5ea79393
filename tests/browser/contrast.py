"""Contrast of two colours, as WCAG 2.2 defines it.

Source: WCAG 2.2, definitions of "relative luminance" and "contrast ratio" [memory]:
L = 0.2126 R + 0.7152 G + 0.0722 B with each of R, G, B made linear (c / 12.92 up to 0.04045, and
((c + 0.055) / 1.055) ** 2.4 above), and the ratio (L1 + 0.05) / (L2 + 0.05), the lighter one on top.
"""

import re

Rgb = tuple[int, int, int]


def rgb(text: str) -> Rgb:
    """An opaque colour as a browser computes it, such as ``rgb(28, 23, 19)``."""
    found = re.fullmatch(r"rgb\((\d+), (\d+), (\d+)\)", text)
    assert found, f"not an opaque colour: {text}"
    return int(found[1]), int(found[2]), int(found[3])


def luminance(color: Rgb) -> float:
    """Relative luminance, 0 for black and 1 for white."""
    linear = [
        value / 12.92 if value <= 0.04045 else ((value + 0.055) / 1.055) ** 2.4
        for value in (channel / 255 for channel in color)
    ]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: Rgb, other: Rgb) -> float:
    """Contrast ratio, from 1 to 21."""
    dark, light = sorted((luminance(one), luminance(other)))
    return (light + 0.05) / (dark + 0.05)
