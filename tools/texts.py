"""Collect the texts of the browser's face and of the jobs for translation, or check the translations.

Run ``python tools/texts.py`` to write ``locale/lungwort.pot`` and to bring every language up to
date, ``python tools/texts.py --check`` to compare, and ``python tools/texts.py --missing PART`` to
list what has no translation yet.
"""

from __future__ import annotations

import argparse
import ast
import itertools
import re
import sys
import tomllib
from datetime import UTC, datetime
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, Final

from babel.messages.catalog import Catalog
from babel.messages.extract import extract
from babel.messages.pofile import read_po, write_po

from lungwort.web.wording_catalogue import SCREENS
from lungwort.web.wording_phrases import PLACE, sentences

if TYPE_CHECKING:
    from collections.abc import Iterator

ROOT: Final = Path(__file__).resolve().parent.parent
SOURCE: Final = ROOT / "src" / "lungwort"
LOCALE: Final = SOURCE / "web" / "locale"
TEMPLATE: Final = "lungwort.pot"
PHRASES: Final = "phrases"
"""Part that is kept by hand: words in cells and headings, which no rule finds in the code."""
LANGUAGES: Final = ("de",)
ROOMS: Final = (
    *("air", "jobs", "limits", "logs", "paper", "plan", "register", "spot", "verdict"),
    *("accounts", "wearers", "plant", "insight", "tomlfile.py"),
)
CALCULATIONS: Final = "calculations"
"""Part of all that is worked out beside a verdict."""
_CALCULATIONS: Final = re.compile(
    r"(?:wearers|plant|insight)/|verdict/(?:budget|monte_carlo)|jobs/(?:exposure|enough_air|reserve"
    r"|bank|treatment|cause|trend|budget|plant_sheet|calculated)|paper/calculation"
)
_KEYWORDS: Final = {"_": None, "N_": None, "_n": None, "gettext": None, "ngettext": (1, 2)}
_TOML: Final = {
    "library": (SOURCE / "limits" / "library", {"remarks", "remark", "wording", "needs", "source"}),
    "intervals": (SOURCE / "plan", {"title", "remarks", "remark", "text", "why"}),
    "procedures": (
        SOURCE / "spot" / "library",
        {"title", "remarks", "about", "cautions", "text", "ask", "why", "says", "word"},
    ),
}
_SKIPPED: Final = frozenset(
    (
        *("logs/vocabulary.py", "paper/icons.py", "paper/glyphs.py", "paper/drawing.py"),
        *("paper/workbook.py", "paper/pack.py", "register/tables.py", "jobs/demo_year.py"),
        *("paper/period_drawing.py", "paper/chart.py", "paper/qr.py", "paper/all_tests.py"),
    )
)
"""Modules whose texts never reach a screen: headings to recognise, pictures, pages of paper."""
_MOST_WAYS: Final = 12
_LETTERS: Final = re.compile(r"[A-Za-z]{2,}")
_CODE: Final = re.compile(
    r"^(?:SELECT|CREATE|PRAGMA|INSERT|UPDATE|DROP|DELETE|ALTER|BEGIN|WITH)\b|[<>]{2}|\\[dwsb]|\(\?"
    r"|^[#<]|::|%[YmdHMS]|^\w+=\S+$"
)
_AFTER_A_PLACE: Final = re.compile(r"^(\{\w+\}) (?=(?:[A-Z][a-z]{2,}|'lungwort) )")

Found = dict[str, dict[str, list[str]]]
"""Places of origin by text, by part."""


def _name(node: ast.expr) -> str:
    match node:
        case ast.Name():
            return node.id.strip("_").lower()
        case ast.Attribute():
            return node.attr.strip("_").lower()
        case ast.Call(func=ast.Name(id="len")):
            return "n"
        case ast.Call(func=ast.Attribute(attr="join")):
            return "list"
        case ast.Call():
            return _name(node.func)
        case ast.Subscript():
            return _name(node.value)
        case ast.BoolOp():
            return _name(node.values[0])
        case ast.BinOp():
            return _name(node.left)
        case _:
            return "value"


def _renderings(node: ast.expr) -> list[str] | None:
    """Write an expression that makes a text as patterns, with a place for each value."""
    match node:
        case ast.Constant(value=str() as text):
            return None if "{" in text or "}" in text else [text]
        case ast.JoinedStr():
            parts = [_renderings(one) for one in node.values]
        case ast.FormattedValue(value=ast.Constant() as inner):
            return _renderings(inner)
        case ast.FormattedValue(value=ast.IfExp() as inner):
            return _branches(inner) or [f"{{{_name(inner)}}}"]
        case ast.FormattedValue():
            return [f"{{{_name(node.value)}}}"]
        case ast.BinOp(op=ast.Add()):
            if not (_is_text(node.left) or _is_text(node.right)):
                return None
            parts = [
                _renderings(side) if _is_text(side) else [f"{{{_name(side)}}}"]
                for side in (node.left, node.right)
            ]
        case ast.IfExp():
            return _branches(node)
        case _:
            return None
    if any(part is None for part in parts):
        return None
    made = [part for part in parts if part is not None]
    ways = 1
    for part in made:
        ways *= len(part)
    if ways > _MOST_WAYS:
        made = [part if len(part) == 1 else ["{value}"] for part in made]
    return ["".join(way) for way in itertools.product(*made)]


def _branches(node: ast.IfExp) -> list[str] | None:
    both = [
        _renderings(side) if _is_text(side) else [f"{{{_name(side)}}}"]
        for side in (node.body, node.orelse)
    ]
    if not (_is_text(node.body) or _is_text(node.orelse)) or None in both:
        return None
    return [text for part in both for text in part or ()]


def _is_text(node: ast.expr) -> bool:
    match node:
        case ast.Constant(value=str()) | ast.JoinedStr():
            return True
        case ast.BinOp(op=ast.Add()):
            return _is_text(node.left) or _is_text(node.right)
        case ast.IfExp():
            return _is_text(node.body) or _is_text(node.orelse)
        case _:
            return False


class _Texts(ast.NodeVisitor):
    def __init__(self) -> None:
        self.found: list[tuple[int, str]] = []

    def _body(self, node: ast.Module | ast.ClassDef | ast.FunctionDef) -> None:
        first = node.body[0] if node.body else None
        skip = isinstance(first, ast.Expr) and isinstance(first.value, ast.Constant)
        for one in node.body[1:] if skip else node.body:
            self.visit(one)
        for one in getattr(node, "decorator_list", ()):
            self.visit(one)

    def visit_Module(self, node: ast.Module) -> None:
        self._body(node)

    def visit_ClassDef(self, node: ast.ClassDef) -> None:
        self._body(node)

    def visit_FunctionDef(self, node: ast.FunctionDef) -> None:
        self._body(node)
        self.visit(node.args)

    def visit_Expr(self, node: ast.Expr) -> None:
        if not isinstance(node.value, ast.Constant):
            self.visit(node.value)

    def _text(self, node: ast.expr) -> None:
        renderings = _renderings(node) if _is_text(node) else None
        if renderings is not None:
            self.found += [(node.lineno, text) for text in renderings]
            for one in _values_in(node):
                self.visit(one)
        else:
            self.generic_visit(node)

    visit_Constant = visit_JoinedStr = visit_BinOp = _text  # noqa: N815 - named by ast


def _values_in(node: ast.expr) -> Iterator[ast.expr]:
    """Give what stands in the places of a text, in which there may be other texts."""
    match node:
        case ast.Constant():
            return
        case ast.JoinedStr():
            for one in node.values:
                yield from _values_in(one)
        case ast.FormattedValue():
            yield from _values_in(node.value) if _is_text(node.value) else (node.value,)
        case ast.BinOp():
            for side in (node.left, node.right):
                yield from _values_in(side) if _is_text(side) else (side,)
        case ast.IfExp():
            yield node.test
            for side in (node.body, node.orelse):
                yield from _values_in(side) if _is_text(side) else (side,)
        case _:
            yield node


def _numbered(text: str) -> str:
    """Give places of the same name numbers."""
    seen: dict[str, int] = {}

    def one(found: re.Match[str]) -> str:
        seen[found[1]] = seen.get(found[1], 0) + 1
        count = seen[found[1]]
        return f"{{{found[1]}}}" if count == 1 else f"{{{found[1]}{count}}}"

    return PLACE.sub(one, text)


def _prose(text: str) -> bool:
    fixed = PLACE.sub("", text).strip()
    if _CODE.search(text) or len(_LETTERS.findall(fixed)) < 2:  # noqa: PLR2004 - one word may be a key
        return False
    return " " in fixed


def pieces(text: str) -> Iterator[str]:
    """Cut a pattern into the sentences that are translated."""
    for sentence in sentences(text):
        left = sentence
        while found := _AFTER_A_PLACE.match(left):
            left = left[found.end() :]
        left = left.strip(" ;,")
        if _prose(left):
            yield _numbered(left)


def patterns_of(path: Path) -> Iterator[tuple[int, str]]:
    """Find the patterns of all messages in a module, with the line of each."""
    texts = _Texts()
    texts.visit(ast.parse(path.read_text(encoding="utf-8")))
    for line, text in texts.found:
        for piece in pieces(text):
            yield line, piece


def _of_screens(found: Found) -> None:
    web = SOURCE / "web"
    listed = [(one, "python", {}) for one in sorted(web.rglob("*.py"))]
    listed += [
        (one, "jinja2", {"extensions": "jinja2.ext.i18n", "silent": "false", "trimmed": "true"})
        for one in sorted((web / "templates").rglob("*.html"))
    ]
    part = found.setdefault(SCREENS, {})
    for path, method, options in listed:
        content = BytesIO(path.read_bytes())
        for line, text, _, _ in extract(method, content, _KEYWORDS, options=options):
            key = "\x00".join(text) if isinstance(text, tuple) else text
            if key:
                part.setdefault(key, []).append(_where(path, line))


def _where(path: Path, line: int) -> str:
    del line  # lines move with every change; the file is enough
    return path.relative_to(SOURCE).as_posix()


def _of_rooms(found: Found) -> None:
    for room in ROOMS:
        place = SOURCE / room
        for path in sorted(place.rglob("*.py")) if place.is_dir() else (place,):
            inside = path.relative_to(SOURCE).as_posix()
            if inside in _SKIPPED or "migrations" in inside:
                continue
            part = _part_of(inside, room)
            for line, text in patterns_of(path):
                found.setdefault(part, {}).setdefault(text, []).append(_where(path, line))


def _part_of(inside: str, room: str) -> str:
    if inside.startswith("jobs/catalogue/"):
        return "catalogue"
    if _CALCULATIONS.match(inside):
        return CALCULATIONS
    # What reads a user's file has spoken for procedures from the beginning.
    return "spot" if room == "tomlfile.py" else room


def _of_files(found: Found) -> None:
    for part, (folder, keys) in _TOML.items():
        for path in sorted(folder.rglob("*.toml")):
            for text in _values(tomllib.loads(path.read_text(encoding="utf-8")), "", keys):
                for piece in sentences(text):
                    if "{" not in piece and _LETTERS.search(piece):
                        found.setdefault(part, {}).setdefault(piece, []).append(_where(path, 0))


def _values(value: object, key: str, keys: set[str]) -> Iterator[str]:
    if isinstance(value, dict):
        for name, one in value.items():
            yield from _values(one, str(name), keys)
    elif isinstance(value, list):
        for one in value:
            yield from _values(one, key, keys)
    elif isinstance(value, str) and key in keys:
        yield value


def collect() -> Found:
    """Collect all texts, each in the first part that has it."""
    found: Found = {}
    _of_screens(found)
    _of_rooms(found)
    _of_files(found)
    seen: set[str] = set()
    for part in found:
        found[part] = {
            text: origins for text, origins in sorted(found[part].items()) if text not in seen
        }
        seen |= set(found[part])
    return found


def load(path: Path, language: str | None = None) -> Catalog:
    """Read a PO file; an empty catalogue where there is none."""
    if not path.exists():
        return Catalog(locale=language)
    return read_po(BytesIO(path.read_bytes()), locale=language)


def parts_of(language: str) -> dict[str, Catalog]:
    """Read all parts of a language."""
    return {path.stem: load(path, language) for path in sorted((LOCALE / language).glob("*.po"))}


def _identity(key: str) -> str | tuple[str, str]:
    one, _, many = key.partition("\x00")
    return (one, many) if many else one


def _write(path: Path, catalog: Catalog) -> None:
    catalog.creation_date = catalog.revision_date = datetime(2026, 1, 1, tzinfo=UTC)
    content = BytesIO()
    write_po(content, catalog, width=96, omit_header=False, sort_output=True, no_location=False)
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(content.getvalue())


def _new(language: str | None) -> Catalog:
    return Catalog(
        locale=language,
        project="lungwort",
        version="1",
        copyright_holder="the authors of lungwort",
        msgid_bugs_address="see the repository",
        last_translator="the authors of lungwort",
        language_team="the authors of lungwort",
        charset="utf-8",
        fuzzy=False,
        header_comment="# Texts of lungwort's browser face. Written by tools/texts.py.",
    )


def update(found: Found) -> None:
    """Write the template, and every language with the translations that it has."""
    template = _new(None)
    for texts in found.values():
        for key, origins in texts.items():
            template.add(_identity(key), locations=[(one, 0) for one in sorted(set(origins))])
    _write(LOCALE / TEMPLATE, template)
    for language in LANGUAGES:
        old = parts_of(language)
        known = {
            message.id: message.string
            for part in old.values()
            for message in part
            if message.id and message.string
        }
        for part, texts in found.items():
            new = _new(language)
            for key in texts:
                identity = _identity(key)
                string = known.get(identity)
                if string is None and isinstance(identity, tuple):
                    string = ("", "")
                new.add(identity, string or "")
            _write(LOCALE / language / f"{part}.po", new)


def missing(found: Found, language: str, part: str) -> list[str]:
    """List the texts of a part that have no translation in a language."""
    have = load(LOCALE / language / f"{part}.po", language)
    lacking = []
    for key in found.get(part, {}):
        message = have.get(_identity(key))
        string = message.string if message is not None else ""
        if not string or (isinstance(string, (tuple, list)) and not all(string)):
            lacking.append(key)
    return lacking


def stale(found: Found, language: str) -> list[str]:
    """List the translations of texts that are no longer there."""
    left = []
    for part, catalog in parts_of(language).items():
        if part == PHRASES:
            continue
        now = {_identity(key) for key in found.get(part, {})}
        left += [
            f"{part}: {message.id}" for message in catalog if message.id and message.id not in now
        ]
    return left


def faults(language: str) -> list[str]:
    """List the translations whose places are not those of the text."""
    wrong = []
    for part, catalog in parts_of(language).items():
        for message in catalog:
            if not message.id or not message.string:
                continue
            forms = (
                message.string if isinstance(message.string, (tuple, list)) else [message.string]
            )
            source = message.id if isinstance(message.id, str) else message.id[1]
            for form in forms:
                if not form or isinstance(message.id, tuple):
                    continue
                if sorted(_places(form)) != sorted(_places(source)):
                    wrong.append(f"{part}: {source} / {form}")
    return wrong


def _places(text: str) -> list[str]:
    return PLACE.findall(text) + re.findall(r"%\(\w+\)[sd]", text)


def shares(found: Found, language: str) -> dict[str, tuple[int, int]]:
    """Count, by part, how many texts are translated and how many there are."""
    return {
        part: (len(texts) - len(missing(found, language, part)), len(texts))
        for part, texts in found.items()
    }


def main() -> int:
    """Run the tool."""
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--check", action="store_true", help="compare, and write nothing")
    arguments.add_argument("--missing", metavar="PART", help="list what has no translation yet")
    given = arguments.parse_args()
    found = collect()
    out = sys.stdout
    if given.missing:
        for language in LANGUAGES:
            out.writelines(f"{one!r}\n" for one in missing(found, language, given.missing))
        return 0
    if not given.check:
        update(found)
    bad = False
    for language in LANGUAGES:
        for part, (done, there) in shares(found, language).items():
            out.write(f"{language} {part}: {done} of {there}\n")
        lacking = missing(found, language, SCREENS)
        old, wrong = stale(found, language), faults(language)
        for title, lines in (("missing", lacking), ("stale", old), ("wrong places", wrong)):
            out.writelines(f"{title}: {line!r}\n" for line in lines)
        bad = bad or bool(lacking or old or wrong)
    return int(bad and given.check)


if __name__ == "__main__":
    sys.exit(main())
