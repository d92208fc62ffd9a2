"""Contrast of the colours."""

from __future__ import annotations

import pytest

from lungwort.paper.palette import DARK, LIGHT, MARK_ROLES, TEXT_ROLES, contrast


@pytest.mark.parametrize(
    ("first", "second", "ratio"),
    [
        # WCAG 2.2, definition of contrast ratio: 'can range from 1 to 21'.
        ("#000000", "#ffffff", 21.0),
        ("#ffffff", "#ffffff", 1.0),
        # Worked by hand: luminance of pure red is 0.2126, so (1 + 0.05) / (0.2126 + 0.05).
        ("#ff0000", "#ffffff", 1.05 / 0.2626),
    ],
)
def test_contrast_ratio(first: str, second: str, ratio: float) -> None:
    """Contrast ratio."""
    assert contrast(first, second) == pytest.approx(ratio, rel=1e-6)
    assert contrast(second, first) == contrast(first, second)


@pytest.mark.parametrize("palette", [LIGHT, DARK], ids=["light", "dark"])
@pytest.mark.parametrize("role", TEXT_ROLES)
@pytest.mark.parametrize("ground", ["ground", "panel"])
def test_text_stands_out(palette: dict[str, str], role: str, ground: str) -> None:
    """Text stands out."""
    # WCAG 2.2, success criterion 1.4.3: at least 4.5 to 1.
    assert contrast(palette[role], palette[ground]) >= 4.5


@pytest.mark.parametrize("palette", [LIGHT, DARK], ids=["light", "dark"])
@pytest.mark.parametrize("role", MARK_ROLES)
def test_marks_stand_out(palette: dict[str, str], role: str) -> None:
    """Marks stand out."""
    # WCAG 2.2, success criterion 1.4.11: at least 3 to 1.
    assert contrast(palette[role], palette["ground"]) >= 3.0


def test_both_palettes_have_the_same_roles() -> None:
    """Both palettes have the same roles."""
    assert LIGHT.keys() == DARK.keys()
