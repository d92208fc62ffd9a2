"""Finds the translation of a message that was put together from a pattern and values.

A message of a job is an English sentence with names and numbers in it. The catalogue holds the
pattern ('Supply {name} is on record as retired.') and its translation. Here a message is taken
apart into sentences, each is matched to its pattern, and what stands in the places of the pattern
is translated in its turn where it is known, and kept as it is where it is a name.
"""

from __future__ import annotations

import re
from collections import Counter
from typing import TYPE_CHECKING, Final

from attrs import define, frozen

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

FOREIGN_BEGIN: Final = "\ue000"
FOREIGN_END: Final = "\ue001"
"""Marks around what stays English inside a translated text."""

PLACE: Final = re.compile(r"\{([A-Za-z_]\w*)\}")
"""A place in a pattern."""

LONGEST: Final = 4000
_MOST_SENTENCES: Final = 4
_DEEPEST: Final = 6
_FEWEST_LETTERS: Final = 3
_SENTENCE_END: Final = re.compile(
    r"(?<=[.!?])(?<!e\.g\.)(?<!i\.e\.)(?<!No\.)(?<!incl\.)(?<! s\.)(?<!Ph\.)(?<!Eur\.)\s+"
)
_SAME: Final = str.maketrans({"−": "-", "³": "3", "µ": "u", "’": "'"})
_MOMENT: Final = re.compile(
    r"\b\d{1,2} (?:Jan|Feb|Mar|Apr|May|Jun|Jul|Aug|Sep|Oct|Nov|Dec) \d{4}"
    r"(?: \d\d:\d\d(?::\d\d(?:\.\d+)?)?(?: (?:\(UTC)?[+-]\d\d:\d\d\)?)?)?"
)
_WORD: Final = re.compile(r"[A-Za-z]{2,}")
_WHOLE_WORD: Final = re.compile(r"(?<![\w-])[a-z]+(?![\w-])")
_SHORT_PLACE: Final = re.compile(r"short\d*")
_COMMAND: Final = re.compile(r"'lungwort [^']*'|\blungwort .*")
_MOMENT_PLACE: Final = re.compile(r"moment\d*")
_UNIT_BEHIND: Final = re.compile(
    r"\{(\w+)\} (%|°C|ppm|mg/m[3³]|bar\([ga]\)|kPa\(a\)|L/min|hPa|g/mol|min|h|s|L)(?![\w/])"
)
_COUNT_PLACE: Final = re.compile(r"n\d*")
_COUNT: Final = re.compile(r"[\d\u202f]+")
_LIST: Final = re.compile(r"(, | and | or )")
_MOST_ITEMS: Final = 12
_SMALL_WORD: Final = re.compile(r"(?<![\w-])[a-z]{3,}(?![\w-])")
_ALL_SMALL: Final = re.compile(r"[a-z]+(?: [a-z]+)+")
_LIST_WORDS: Final = {" and ": " und ", " or ": " oder "}
_LITTLE_WORDS: Final = frozenset(
    (
        *("the", "is", "are", "of", "not", "and", "was", "were", "for", "with", "this", "that"),
        *("it", "be", "to", "by", "from", "no", "has", "have", "on", "at", "in", "an", "a"),
    )
)
_FEWEST_LITTLE: Final = 2
_SHORT: Final = 3


def sentences(text: str) -> list[str]:
    """Cut a text into its sentences, in the same way for patterns and for messages.

    Examples
    --------
    >>> sentences("Nothing was recorded. Give 0.5 ppm, e.g. by hand.")
    ['Nothing was recorded.', 'Give 0.5 ppm, e.g. by hand.']
    """
    return [part for part in _SENTENCE_END.split(text.strip()) if part]


def same(text: str) -> str:
    """Bring a text to the form in which texts are compared; every letter keeps its place."""
    text = _MOMENT.sub(_in_one_piece, text.translate(_SAME))
    return text[:1].lower() + text[1:] if len(text[:1].lower()) == 1 else text


def _in_one_piece(found: re.Match[str]) -> str:
    """Keep a moment from being cut at its blanks; as long as before."""
    return found[0].replace(" ", "\u2007")


def foreign(text: str) -> str:
    """Mark a text as English."""
    return f"{FOREIGN_BEGIN}{text}{FOREIGN_END}" if text.strip() else text


def looks_english(text: str) -> bool:
    """Tell whether a text is English prose and not a name or a number.

    Examples
    --------
    >>> looks_english("the disk is full"), looks_english("Panel 2"), looks_english("−45 °C")
    (True, False, False)
    """
    words = _WHOLE_WORD.findall(text.lower())
    little = sum(word in _LITTLE_WORDS for word in words)
    return little >= _FEWEST_LITTLE or (little > 0 and len(words) > _SHORT)


@frozen
class Pattern:
    """One entry of the catalogue that has places.

    Parameters
    ----------
    chunks : tuple of str
        What stands between the places, in the form for comparing; one more than places.
    places : tuple of str
        Names of the places.
    translation : str
        With the same places.
    weight : int
        How many letters are fixed.
    in_order : bool
        Whether the translation keeps the order of the places.
    capital : bool
        Whether it begins with a capital.
    thin : bool
        Whether little words alone are fixed: it fits much that it was not made for.
    raw : frozenset of str
        Places inside a command, where a name must stay letter for letter.
    units : tuple of (str, str)
        Places with a unit behind them, and the unit.
    """

    chunks: tuple[str, ...]
    places: tuple[str, ...]
    translation: str
    weight: int
    in_order: bool
    capital: bool
    thin: bool
    raw: frozenset[str]
    units: tuple[tuple[str, str], ...]

    def spans(self, text: str) -> list[tuple[int, int]] | None:
        """Find what stands in the places of a text in the form for comparing; None where it does not fit."""
        from_left = self._from_left(text)
        if from_left is None:
            return None
        for name, (begin, end) in zip(self.places, from_left, strict=True):
            inside = text[begin:end]
            if _COUNT_PLACE.fullmatch(name) and not _COUNT.fullmatch(inside):
                return None
            if _MOMENT_PLACE.fullmatch(name) and not _MOMENT.fullmatch(
                inside.replace("\u2007", " ")
            ):
                return None
            if _SHORT_PLACE.fullmatch(name) and (not inside or " " in inside):
                return None
        if not self.in_order and from_left != self._from_right(text):
            # It fits in more than one way, and the translation would carry parts to other places.
            return None
        return from_left

    def _from_left(self, text: str) -> list[tuple[int, int]] | None:
        first, last = self.chunks[0], self.chunks[-1]
        stop = len(text) - len(last)
        if stop < len(first) or not (text.startswith(first) and text.endswith(last)):
            return None
        found: list[tuple[int, int]] = []
        place = len(first)
        for chunk in self.chunks[1:-1]:
            at = text.find(chunk, place, stop)
            if at < 0:
                return None
            found.append((place, at))
            place = at + len(chunk)
        found.append((place, stop))
        return found

    def _from_right(self, text: str) -> list[tuple[int, int]] | None:
        found: list[tuple[int, int]] = []
        start, stop = len(self.chunks[0]), len(text) - len(self.chunks[-1])
        for chunk in self.chunks[-2:0:-1]:
            at = text.rfind(chunk, start, stop)
            if at < 0:
                return None
            found.append((at + len(chunk), stop))
            stop = at
        found.append((start, stop))
        return found[::-1]


def pattern_of(source: str, translation: str) -> Pattern:
    """Make the pattern of an entry."""
    pieces = PLACE.split(source)
    chunks = tuple(
        same(pieces[0]) if not at else piece.translate(_SAME)
        for at, piece in enumerate(pieces[::2])
    )
    places = tuple(pieces[1::2])
    order = tuple(PLACE.findall(translation))
    fixed = {word.lower() for chunk in pieces[::2] for word in _WORD.findall(chunk)}
    return Pattern(
        chunks=chunks,
        places=places,
        translation=translation,
        weight=sum(map(len, chunks)),
        in_order=order == places,
        capital=source[:1].isupper(),
        thin=fixed <= _LITTLE_WORDS,
        raw=frozenset(
            place for found in _COMMAND.finditer(translation) for place in PLACE.findall(found[0])
        ),
        units=tuple(_UNIT_BEHIND.findall(translation)),
    )


def words_of(pattern: Pattern) -> set[str]:
    """Give the whole words that every text of a pattern has."""
    found: set[str] = set()
    for at, chunk in enumerate(pattern.chunks):
        for word in _WORD.finditer(chunk):
            cut_before = at > 0 and word.start() == 0
            cut_after = at < len(pattern.chunks) - 1 and word.end() == len(chunk)
            if not (cut_before or cut_after):
                found.add(word[0].lower())
    return found


@define
class Phrases:
    """The catalogue of messages in one language.

    Parameters
    ----------
    whole : dict of str to str
        Translations of texts without places, by text without its full stop.
    alike : dict of str to str
        The same by the form for comparing.
    by_word : dict of str to list of Pattern
        Patterns by a word that few of them have.
    value : callable
        Writes what is made of dates, numbers and units; None for anything else.
    """

    whole: dict[str, str]
    alike: dict[str, str]
    by_word: dict[str, list[Pattern]]
    value: Callable[[str], str | None]

    @classmethod
    def of(cls, entries: Iterable[tuple[str, str]], value: Callable[[str], str | None]) -> Phrases:
        """Make it from pairs of a text and its translation."""
        whole: dict[str, str] = {}
        alike: dict[str, str] = {}
        patterns: list[Pattern] = []
        for source, translation in entries:
            bare = _bare(source)
            if PLACE.search(source):
                patterns.append(pattern_of(bare, _bare(translation)))
            else:
                whole.setdefault(bare, _bare(translation))
                alike.setdefault(same(bare), _bare(translation))
        listed = [(one, words_of(one)) for one in patterns]
        often = Counter(word for _, words in listed for word in words)
        by_word: dict[str, list[Pattern]] = {}
        for one, words in listed:
            rare = min(words, key=lambda word: (often[word], -len(word), word), default="")
            by_word.setdefault(rare, []).append(one)
        return cls(whole, alike, by_word, value)

    def translate(self, text: str) -> str:
        """Translate a message; what is not known stays English between marks."""
        if len(text) > LONGEST:
            return foreign(text)  # a message is never that long: a file's contents
        whole = self.whole.get(_bare(text))
        if whole is not None:
            return whole + text.strip()[len(_bare(text)) :] if not whole.endswith(".") else whole
        return self._prose(text, 0)

    def known(self, text: str) -> str | None:
        """Translate a text that is one phrase, pattern or value; None where it is none."""
        return self._one(text, 0)

    def _one(self, text: str, depth: int) -> str | None:
        bare = _bare(text)
        stop = text[len(bare) :]
        found = self.whole.get(bare)
        if found is None:
            plain = same(bare)
            found = self.alike.get(plain)
            if found is None:
                found = self.value(bare)
            if found is None and depth < _DEEPEST:
                found = self._pattern(bare, plain, depth)
            if found is not None and bare[:1].isupper() and found[:1].islower():
                found = found[0].upper() + found[1:]
        if found is None:
            return None
        return found if stop == "." and found.endswith((".", "!", "?", "…")) else found + stop

    def _pattern(self, text: str, plain: str, depth: int) -> str | None:
        best: tuple[tuple[int, bool], Pattern, list[tuple[int, int]]] | None = None
        for one in self._candidates(plain):
            rank = (one.weight, one.capital == text[:1].isupper())
            if best is not None and rank <= best[0]:
                continue
            spans = one.spans(plain)
            if spans is not None and not (one.thin and self._strange(text, spans, depth)):
                best = (rank, one, spans)
        if best is None:
            return None
        _, one, spans = best
        inside = {
            name: text[begin:end] if name in one.raw else self._content(text[begin:end], depth + 1)
            for name, (begin, end) in zip(one.places, spans, strict=True)
        }
        for place, unit in one.units:
            # A bare number may be a clause; with its unit behind it, it is one that was measured.
            shown = self.value(f"{inside[place]} {unit}")
            if shown is not None and shown.endswith(f" {unit}"):
                inside[place] = shown.removesuffix(f" {unit}")
        return PLACE.sub(lambda found: inside.get(found[1], found[0]), one.translation)

    def _strange(self, text: str, spans: list[tuple[int, int]], depth: int) -> bool:
        """Tell whether prose that is not known stands in a place."""
        return any(
            _is_prose(text[begin:end]) and self._one(text[begin:end], depth + 1) is None
            for begin, end in spans
        )

    def _candidates(self, plain: str) -> Iterator[Pattern]:
        seen: set[str] = set()
        for found in _WORD.finditer(plain):
            word = found[0].lower()
            if word not in seen:
                seen.add(word)
                yield from self.by_word.get(word, ())
        yield from self.by_word.get("", ())

    def _content(self, text: str, depth: int) -> str:
        """Translate what stands in a place: a phrase, a value, a list, a sentence, or a name."""
        inner = text.strip()
        if not inner or depth > _DEEPEST:
            return text
        if inner[0] == "(" and inner.find(")") == len(inner) - 1:
            return text.replace(inner, f"({self._content(inner[1:-1], depth + 1)})", 1)
        found = self._one(inner, depth)
        if found is None:
            if _SENTENCE_END.search(inner):
                found = self._prose(inner, depth)
            else:
                found = self._parts(inner, depth) or inner
                if found == inner and looks_english(inner):
                    found = foreign(inner)
        return text.replace(inner, found, 1) if inner != text else found

    def _each(self, text: str, depth: int) -> str | None:
        """Translate a row of phrases, where each of them is known."""
        if "; " not in text:
            return None
        plain = same(_bare(text))
        if any(
            any("; " in chunk for chunk in one.chunks) and one.spans(plain) is not None
            for one in self._candidates(plain)
        ):
            return None  # the semicolon belongs to the pattern
        told = [self._one(part, depth + 1) for part in text.split("; ")]
        known = [part for part in told if part is not None]
        return "; ".join(known) if len(known) == len(told) else None

    def _prose(self, text: str, depth: int) -> str:
        listed = sentences(text)
        told: list[str] = []
        at = 0
        while at < len(listed):
            found = self._each(listed[at], depth)
            if found is not None:
                told.append(found)
                at += 1
                continue
            for many in range(1, min(_MOST_SENTENCES, len(listed) - at) + 1):
                run = " ".join(listed[at : at + many])
                found = self._one(run, depth)
                if found is not None:
                    told.append(found)
                    at += many
                    break
            else:
                one = listed[at]
                found = self._parts(one, depth)
                if found is None:
                    found = foreign(one) if looks_english(one) else one
                told.append(found)
                at += 1
        return " ".join(told)

    def _parts(self, text: str, depth: int) -> str | None:
        """Translate a text by its parts: a list, a head with what follows it, words with a bracket."""
        if depth >= _DEEPEST:
            return None
        for sign in ("; ", " → ", " · "):
            if sign in text:
                return sign.join(self._content(part, depth + 1) for part in text.split(sign))
        if text.endswith(")") and " (" in text:
            head, _, tail = text.partition(" (")
            known = self._one(head, depth + 1)
            if known is not None:
                return f"{known} ({self._content(tail[:-1], depth + 1)})"
        if ": " in text:
            head, _, tail = text.partition(": ")
            known = self._one(head, depth + 1)
            rest = self._one(tail, depth + 1)
            if known is None and rest is None:
                rest = self._parts(tail, depth + 1)
            if known is not None or rest is not None:
                shown = known or self._content(head, depth + 1)
                return f"{shown}: {rest or self._content(tail, depth + 1)}"
        return self._listed(text, depth)

    def _listed(self, text: str, depth: int) -> str | None:
        """Translate a list, all of whose items are known or names."""
        cut = _LIST.split(text)
        items, signs = cut[::2], [*cut[1::2], ""]
        if not 1 < len(items) <= _MOST_ITEMS:
            return None
        told: list[str] = []
        known = False
        at = 0
        while at < len(items):
            for end in range(len(items), at, -1):
                # An item may hold a comma of its own: the longest that is known comes first.
                item = "".join(cut[2 * at : 2 * end - 1])
                found = self._one(item, depth + 1) if end - at < len(items) else None
                if found is not None:
                    break
            else:
                end = at + 1
                item = items[at]
            if found is None and _is_prose(item):
                return None
            known = known or found is not None
            sign = signs[end - 1]
            told += [found if found is not None else item, _LIST_WORDS.get(sign, sign)]
            at = end
        return "".join(told) if known else None


def _is_prose(text: str) -> bool:
    """Tell whether a text is more than a name: English, or several small words."""
    small = len(_SMALL_WORD.findall(text))
    return (
        looks_english(text) or small > 1 or (small == 1 and _ALL_SMALL.fullmatch(text) is not None)
    )


def _bare(text: str) -> str:
    """Take the full stop off a text."""
    text = text.strip()
    return text[:-1] if text.endswith(".") and not text.endswith("..") else text
