"""The colours of paper and page, one set on white and one on a dark ground.

Every colour is joined by a shape, a hatch or a word, so nothing is lost in black and white. A test
holds text to a contrast of at least 4.5 to 1 and marks to at least 3 to 1 (WCAG 2.2, success
criteria 1.4.3 and 1.4.11).
"""

from __future__ import annotations

from typing import Final

LIGHT: Final = {
    "ground": "#ffffff",
    "panel": "#f3f1ec",
    "ink": "#1c2530",
    "quiet": "#56606b",
    "rule": "#c9c4ba",
    "trace": "#234e70",
    "aside": "#7d7264",
    "limit": "#8a1c4a",
    "excursion": "#c2410c",
    "hatch": "#857d72",
    "conforms": "#17594a",
    "does_not_conform": "#8a1c2b",
    "not_proven": "#6b4a00",
    "undecided": "#6b4a00",
    "no_evidence": "#4a5058",
    "not_applicable": "#4a5058",
}
DARK: Final = {
    "ground": "#14181d",
    "panel": "#1f252c",
    "ink": "#eceae4",
    "quiet": "#a9b0b8",
    "rule": "#3d454e",
    "trace": "#8fc1e8",
    "aside": "#a39a8c",
    "limit": "#f08fb5",
    "excursion": "#ff9a5c",
    "hatch": "#8f8a80",
    "conforms": "#7fd1b9",
    "does_not_conform": "#ff9aa6",
    "not_proven": "#e6bd5c",
    "undecided": "#e6bd5c",
    "no_evidence": "#b4bac2",
    "not_applicable": "#b4bac2",
}
TEXT_ROLES: Final = (
    "ink",
    "quiet",
    "limit",
    "conforms",
    "does_not_conform",
    "not_proven",
    "undecided",
    "no_evidence",
    "not_applicable",
)
MARK_ROLES: Final = ("trace", "aside", "limit", "excursion", "hatch")


def contrast(first: str, second: str) -> float:
    """Give the contrast ratio of two colours.

    Parameters
    ----------
    first, second : str
        Colours as ``#rrggbb``.

    Returns
    -------
    float
        Ratio, 1 to 21.

    References
    ----------
    WCAG 2.2, definitions 'contrast ratio' and 'relative luminance'.
    """
    lighter, darker = sorted((_luminance(first), _luminance(second)), reverse=True)
    return (lighter + 0.05) / (darker + 0.05)


def _luminance(colour: str) -> float:
    channels = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    linear = [
        part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4  # noqa: PLR2004 - sRGB
        for part in channels
    ]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]
