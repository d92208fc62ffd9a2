"""What the bundled fonts can draw, against fontTools."""

from __future__ import annotations

from importlib import resources

import pytest
from fontTools.ttLib import TTFont  # type: ignore[import-untyped]  # it ships no types

from lungwort.paper import glyphs, text

FONTS = resources.files("lungwort.paper") / "fonts"
NAMES = sorted(item.name for item in FONTS.iterdir() if item.name.endswith((".otf", ".ttf")))


@pytest.mark.parametrize("name", NAMES)
def test_the_character_map_is_read_as_fonttools_reads_it(name: str) -> None:
    """The character map is read as fonttools reads it."""
    with resources.as_file(FONTS / name) as path, TTFont(path) as font:
        wanted = {code for code, glyph in font.getBestCmap().items() if font.getGlyphID(glyph) != 0}

        assert glyphs.code_points(path.read_bytes()) == wanted


@pytest.mark.parametrize("name", NAMES)
def test_each_font_family_has_its_licence_beside_it(name: str) -> None:
    """Each font family has its licence beside it."""
    family = name.removesuffix(".otf").removesuffix(".ttf").partition("-")[0]
    assert any(
        item.name.startswith(family) and item.name.endswith(".txt") for item in FONTS.iterdir()
    )


def test_all_words_that_the_report_itself_uses_can_be_drawn() -> None:
    """All words that the report itself uses can be drawn."""
    own = "".join((*text.VERDICT_WORDS.values(), *text.VERDICT_MEANING.values()))
    signs = "–−≤≥<>·…°³²µ±×₂\u202f\u00a0"
    assert glyphs.drawable(own + signs) == own + signs


def test_a_character_without_a_shape_is_written_as_its_code_point() -> None:
    """A character without a shape is written as its code point."""
    assert glyphs.drawable("空気 log.csv") == "[U+7A7A][U+6C17] log.csv"
    assert glyphs.drawable("a\u200bb") == "a\u200bb"
