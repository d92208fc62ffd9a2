"""Write the generated pages of the documentation, or check that they are not stale.

Run ``python tools/generate_docs.py`` to write them and ``python tools/generate_docs.py --check``
to compare. A page is a function without arguments that returns Markdown; `PAGES` says where each
belongs.
"""

from __future__ import annotations

import argparse
import difflib
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import typer

from lungwort.air.analytes import ANALYTES
from lungwort.cli.main import app
from lungwort.limits.load import available
from lungwort.limits.resolve import check_own_copy, limit_text, row_texts, set_cautions

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from lungwort.limits.model import Limit, LimitSet

ROOT: Final = Path(__file__).resolve().parent.parent
WRITTEN_BY: Final = (
    "<!-- Written by tools/generate_docs.py. Do not edit: change the source and run it again. -->"
)


_LISTED: Final = "`lungwort limits` lists them, `lungwort limits ID` shows one."
_CAUTION: Final = (
    "**The document itself decides.** The numbers here help to judge air; they do not replace "
    "the standard, local law or a competent person. 'Confirmed' means that the number was seen in "
    "the source named beside it, which may be a secondary one. 'From memory' means that it was "
    "not: check it against your own copy of the document before anyone relies on it."
)


def _cell(text: str) -> str:
    for character in "\\|*_`<[":
        text = text.replace(character, f"\\{character}")
    return text


def _table(heads: tuple[str, ...], rows: list[tuple[str, ...]]) -> list[str]:
    lines = [f"| {' | '.join(heads)} |", f"|{'---|' * len(heads)}"]
    lines += [f"| {' | '.join(map(_cell, row))} |" for row in rows]
    return lines


def _limit_row(limit: Limit) -> tuple[str, ...]:
    notes = []
    if not limit.required:
        notes.append("Advice: shown, never decides.")
    if limit.needs:
        notes.append(f"Applies where this is given: {limit.needs}.")
    notes += [f"{where}: {bound}." for where, bound in row_texts(limit)]
    if limit.remark:
        notes.append(limit.remark)
    return (
        ANALYTES[limit.analyte].name,
        limit_text(limit),
        limit.clause,
        limit.source,
        check_own_copy(limit) or limit.status,
        " ".join(notes),
    )


def _limit_set(one: LimitSet) -> list[str]:
    facts = (
        f"{_cell(one.title)}. Edition: {_cell(one.edition)}. Use: {_cell(one.use)}. "
        f"mg/m3 refer to {one.reference_temperature_c:g} °C and "
        f"{one.reference_pressure_kpa:g} kPa(a)."
    )
    lines = [
        f"### `{one.id}`",
        "",
        facts,
        "",
        *_table(
            ("analyte", "allowed", "clause", "source", "status", "remark"),
            [_limit_row(limit) for limit in one],
        ),
        "",
    ]
    lines += [f"- {_cell(text)}" for text in (*one.remarks, *set_cautions(one)[:-1])]
    lines += ["", f"Digest: `{one.digest}`", ""]
    return lines


def limit_sets_page() -> str:
    """Write the reference page of the limit sets.

    Returns
    -------
    str
        Markdown.
    """
    sets = available()
    lines = [
        WRITTEN_BY,
        "",
        "# Limit sets",
        "",
        f"{len(sets)} sets come with lungwort. {_LISTED}",
        "",
        _CAUTION,
        "",
        *_table(
            ("id", "title", "limits", "from memory"),
            [
                (
                    one.id,
                    one.title,
                    str(len(one.limits)),
                    str(sum(1 for limit in one if check_own_copy(limit))),
                )
                for one in sets
            ],
        ),
        "",
    ]
    document = ""
    for one in sets:
        if one.document != document:
            document = one.document
            lines += [f"## {_cell(document)}", ""]
        lines += _limit_set(one)
    return "\n".join(lines).rstrip() + "\n"


def commands_page() -> str:
    """Write the reference page of the commands, from the same words as their ``--help``.

    Returns
    -------
    str
        Markdown.
    """
    group = typer.main.get_command(app)
    lines = [WRITTEN_BY, "", "# Commands", "", *_paragraphs(group.help or ""), ""]
    for name, command in walk(group):
        depth = "#" * (name.count(" ") + 2)
        lines += [f"{depth} `lungwort {name}`", "", *_paragraphs(command.help or ""), ""]
        rows: list[tuple[str, ...]] = []
        for parameter in command.params:
            if parameter.name == "help":
                continue
            option = parameter.param_type_name == "option"
            written = ", ".join(parameter.opts) if option else (parameter.metavar or parameter.name)
            metavar = f" {parameter.metavar}" if option and parameter.metavar else ""
            needed = "needed" if parameter.required else _default(parameter.default)
            rows.append((f"{written}{metavar}", parameter.help or "", needed))
        if rows:
            lines += [*_table(("option", "what it does", "if not given"), rows), ""]
    return "\n".join(lines).rstrip() + "\n"


def walk(group: object, before: str = "") -> Iterator[tuple[str, Any]]:
    """Go through all commands below a group, each group before its commands.

    Parameters
    ----------
    group : click.Group
        Where to begin.
    before : str
        Words that lead to the group.

    Yields
    ------
    tuple of (str, click.Command)
        The words that are typed after ``lungwort``, and the command.
    """
    for name, command in getattr(group, "commands", {}).items():
        yield f"{before}{name}", command
        yield from walk(command, f"{before}{name} ")


def _paragraphs(text: str) -> list[str]:
    return [_cell(" ".join(part.split())) + "\n" for part in text.split("\n\n") if part.strip()]


def _default(value: object) -> str:
    plain = isinstance(value, str | float | int) and not isinstance(value, bool)
    return str(value) if plain or isinstance(value, Path) else ""


def interface_page() -> str:
    """Write the page of the interface for machines."""
    from starlette.datastructures import State

    from lungwort.web.api.interface import ABOUT, make_api

    document = make_api(State()).openapi()
    lines = [
        WRITTEN_BY,
        "",
        "# The interface for machines",
        "",
        ABOUT.strip(),
        "",
        "A running server gives the whole description as OpenAPI 3.1 at `/api/v1/openapi.json`;",
        "`lungwort serve` starts one, and [Serve it on a network](../how-to/serve-on-a-network.md)",
        "says how tokens are made.",
        "",
        "    curl -H 'Authorization: Bearer TOKEN' https://air.example/api/v1/status",
        "",
    ]
    parts: dict[str, list[tuple[str, ...]]] = {}
    for path, found in document["paths"].items():
        for method, operation in found.items():
            asked = ", ".join(one["name"] for one in operation.get("parameters", ()))
            row = (f"{method.upper()} {path}", operation["summary"], asked)
            parts.setdefault(operation["tags"][0], []).append(row)
    for part, rows in parts.items():
        lines += [f"## {part.capitalize()}", ""]
        lines += [*_table(("address", "what it does", "asked in the address"), rows), ""]
    lines += [
        "Errors are `application/problem+json` with `title`, `status` and `detail`; a file that can be",
        "read in several ways has `choices`, and what could not be read has `file`, `line`, `column`.",
    ]
    return "\n".join(lines) + "\n"


PAGES: Final[dict[str, Callable[[], str]]] = {
    "docs/reference/api.md": interface_page,
    "docs/reference/commands.md": commands_page,
    "docs/reference/limit-sets.md": limit_sets_page,
}
"""Path of each generated page below the root, and what writes it."""


def stale_pages(root: Path = ROOT) -> dict[str, str]:
    """Compare the pages on disk with what would be written now.

    Parameters
    ----------
    root : Path
        Folder that holds ``docs``.

    Returns
    -------
    dict of str to str
        Path of each page that differs, with the difference; empty where none does.
    """
    stale = {}
    for name, write in PAGES.items():
        page = root / name
        old = page.read_text(encoding="utf-8") if page.is_file() else ""
        new = write()
        if old != new:
            stale[name] = "\n".join(
                difflib.unified_diff(
                    old.splitlines(), new.splitlines(), "on disk", "now", lineterm="", n=0
                )
            )
    return stale


def main(arguments: list[str] | None = None) -> int:
    """Write or check the pages.

    Parameters
    ----------
    arguments : list of str, optional
        Command line; None for that of the process.

    Returns
    -------
    int
        1 where ``--check`` found a stale page, else 0.
    """
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--check", action="store_true", help="compare only; exit 1 when stale")
    stale = stale_pages()
    if parser.parse_args(arguments).check:
        for name, difference in stale.items():
            sys.stderr.write(f"{name} is stale; run python tools/generate_docs.py\n{difference}\n")
        return 1 if stale else 0
    for name in stale:
        page = ROOT / name
        page.parent.mkdir(parents=True, exist_ok=True)
        page.write_text(PAGES[name](), encoding="utf-8", newline="\n")
        sys.stdout.write(f"wrote {name}\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
