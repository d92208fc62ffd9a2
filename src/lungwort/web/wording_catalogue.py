"""The catalogues of a language: PO files, read once."""

from __future__ import annotations

from functools import cache
from importlib.resources import files
from io import BytesIO
from typing import TYPE_CHECKING

from attrs import frozen

from lungwort.web.german_values import german_value
from lungwort.web.wording_phrases import Phrases

if TYPE_CHECKING:
    from collections.abc import Iterator
    from importlib.resources.abc import Traversable

SCREENS = "screens"
"""Name of the part that holds the texts of the screens; the others hold messages of jobs."""


@frozen
class Catalogue:
    """All translations of one language.

    Parameters
    ----------
    screens : dict of str to (str or tuple of str)
        Translations of the screens' own texts; two forms for those that depend on a number.
    messages : Phrases
        Translations of what jobs say, the screens' single texts among them.
    """

    screens: dict[str, str | tuple[str, ...]]
    messages: Phrases


@cache
def catalogue(language: str) -> Catalogue:
    """Read the catalogues of a language; the first call takes the time, later ones none."""
    screens: dict[str, str | tuple[str, ...]] = {}
    entries: list[tuple[str, str]] = []
    for part in _parts(language):
        for source, translation in _read(part):
            if part.name == f"{SCREENS}.po":
                screens[source] = translation
            if isinstance(translation, str):
                entries.append((source, translation))
    value = german_value if language == "de" else _as_it_is
    return Catalogue(screens, Phrases.of(entries, value))


def _as_it_is(text: str) -> str | None:
    del text
    return None


def _parts(language: str) -> Iterator[Traversable]:
    folder = files("lungwort.web").joinpath("locale", language)
    if folder.is_dir():
        yield from sorted(
            (one for one in folder.iterdir() if one.name.endswith(".po")), key=lambda one: one.name
        )


def _read(part: Traversable) -> Iterator[tuple[str, str | tuple[str, ...]]]:
    from babel.messages.pofile import read_po  # noqa: PLC0415 - only where a page is shown

    for message in read_po(BytesIO(part.read_bytes())):
        if not message.id or message.fuzzy:
            continue
        forms = message.string
        if isinstance(message.id, str):
            if forms and isinstance(forms, str):
                yield message.id, forms
        elif isinstance(forms, (tuple, list)) and all(forms):
            yield str(message.id[0]), tuple(map(str, forms))
