"""What the pages of sites, outlets, instruments, lots and people have in common."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping
from typing import TYPE_CHECKING, Any, Final

from attrs import evolve, frozen

from lungwort.errors import InputError, LungwortError
from lungwort.jobs.catalogue.shape import Done, Listing, Section, View
from lungwort.web.context import Ctx
from lungwort.web.forms import Field
from lungwort.web.lists import Cell
from lungwort.web.menu import N_
from lungwort.web.posted import Posted

if TYPE_CHECKING:
    from lungwort.register.model import Record

_BARE: Final = re.compile(r"[-−+]?\d+(?:[.,]\d+)?")
_ARGUMENT: Final = re.compile(r"^(NAME|COUNT|HOURS)\b")
_OWN_PATH: Final = re.compile(r"/(?:[A-Za-z0-9][A-Za-z0-9/_.-]*)?")
VERSION: Final = Field(name="version", label="", kind="hidden")
THEN: Final = Field(name="then", label="", kind="hidden")
REASON: Final = Field(
    name="reason",
    label=N_("Why it changes"),
    option="--reason",
    required=True,
    help=N_("The version before stays to be seen, with this reason."),
)
NOTE: Final = Field(name="note", label=N_("Note"), kind="area", option="--note")


@frozen(kw_only=True)
class Ask:
    """One thing that is asked of a kind of thing.

    Parameters
    ----------
    field : Field
        How it is asked; its name is that of the fact.
    blank : str
        What jobs take for nothing.
    unit : str
        Unit that is meant where a bare number is typed.
    """

    field: Field
    blank: str = ""
    unit: str = ""

    def given(self, text: str | None) -> str:
        """Give what jobs are told for what was typed."""
        if text is None:
            return self.blank
        return f"{text} {self.unit}" if self.unit and _BARE.fullmatch(text) else text


@frozen(kw_only=True)
class Part:
    """A table on the page of a thing.

    Parameters
    ----------
    title : str
        Its heading.
    headings : tuple of str
        Of its columns.
    rows : tuple of tuple of Cell
        Its rows.
    empty : str
        What is said where there is none.
    below : tuple of str
        Lines under it.
    actions : tuple of (str, str)
        Label and address of what can be done.
    """

    title: str
    headings: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]
    empty: str = ""
    below: tuple[str, ...] = ()
    actions: tuple[tuple[str, str], ...] = ()


@frozen(kw_only=True)
class Thing:
    """A kind of thing, as its pages show it.

    Parameters
    ----------
    kind : type
        Class of its records.
    place : str
        Address of its list.
    many, add, adding, change, retire, back : str
        Heading of the list; what the buttons and pages are called.
    listed : callable
        Lists them; told whether those that are no longer in use are wanted.
    shown : callable
        Shows one.
    asks : callable
        What is asked; told whether it is for a new one.
    facts : type
        Attrs class that takes what was typed.
    do_add, do_change, do_void : callable
        The jobs.
    none_left : str
        What is listed too on wish.
    sorts : dict of int to str
        By the place of a column, the fact by which it is sorted.
    links : dict of int to (str, str)
        By the place of a column, kind and address of what it names.
    elsewhere : frozenset of str
        Facts that a table of its page shows.
    parts : callable
        Tables of its page.
    actions : callable
        What can be done with it: label, address, role.
    more : callable
        Further facts from a form, such as channels.
    start : callable
        What stands in the form of a new one.
    form_template : str
        Template of its form.
    form_values : callable
        What that template shows beside the fields.
    """

    kind: type[Record]
    place: str
    many: str
    add: str
    adding: str
    change: str
    retire: str = ""
    back: str = ""
    listed: Callable[[Ctx, bool], Listing]
    shown: Callable[[Ctx, str], View]
    asks: Callable[[Ctx, bool], tuple[Ask, ...]]
    facts: type[Any]
    do_add: Callable[..., Done]
    do_change: Callable[..., Done]
    do_void: Callable[..., Done]
    none_left: str = N_("Show those that are no longer in use too")
    sorts: Mapping[int, str] = {}
    links: Mapping[int, tuple[str, str]] = {}
    elsewhere: frozenset[str] = frozenset()
    parts: Callable[[Ctx, View], tuple[Part, ...]] = lambda _, view: tuple(
        map(part_of, view.sections)
    )
    actions: Callable[[Ctx, View], tuple[tuple[str, str, str], ...]] = lambda _, __: ()
    more: Callable[[Posted, Mapping[str, Any]], dict[str, Any]] = lambda _, __: {}
    start: Callable[[Ctx], dict[str, str]] = lambda _: {}
    form_template: str = "catalogue/form.html"
    form_values: Callable[[Mapping[str, str], Mapping[str, Any]], dict[str, Any]] = lambda _, __: {}

    def record_of(self, view: View) -> dict[str, Any]:
        """Give the thing's facts as plain values."""
        found: dict[str, Any] = view.plain[self.kind.KIND]
        return found


def own_path(text: str | None) -> str:
    """Give an address on these pages; empty for anything else.

    Examples
    --------
    >>> own_path("/welcome"), own_path("//elsewhere.example"), own_path("https://elsewhere")
    ('/welcome', '', '')
    """
    return text if text and _OWN_PATH.fullmatch(text) else ""


def groups_of(heading: str, names: Any) -> tuple[tuple[str, tuple[tuple[str, str], ...]], ...]:  # noqa: ANN401 - any pairs
    """Put names from the record under a heading: they are no texts that could be translated."""
    return ((heading, tuple(names)),)


def typed_values(record: Mapping[str, Any], asks: tuple[Ask, ...]) -> dict[str, str]:
    """Write what is on record as it would be typed.

    Parameters
    ----------
    record : mapping
        Plain values.
    asks : tuple of Ask
        What is asked.

    Returns
    -------
    dict of str to str
        By the field's name.
    """
    found = {}
    for ask in asks:
        value = record.get(ask.field.name)
        if isinstance(value, bool):
            found[ask.field.name] = "yes" if value else "no"
        elif ask.field.kind == "choice" and isinstance(value, str):
            known = {key for key, _ in ask.field.choices}
            dashed = value.replace("_", "-")
            found[ask.field.name] = dashed if dashed in known else value
        else:
            found[ask.field.name] = "" if value is None else str(value)
    return found


def check_choices(fields: Iterable[Field], form: Posted, before: Mapping[str, str]) -> None:
    """Refuse what no list offers: a path in the place of a limit set, for example.

    Parameters
    ----------
    fields : iterable of Field
        What is asked.
    form : Posted
        What was sent in.
    before : mapping of str to str
        What is on record, which may be kept.

    Raises
    ------
    InputError
        Where something was sent in that cannot be chosen.
    """
    for field in fields:
        if field.kind != "choice" or field.many:
            continue
        known = {key for key, _ in field.choices}
        known |= {key for _, choices in field.groups for key, _ in choices}
        text = form.text(field.name)
        if text is not None and text not in known and text != before.get(field.name):
            raise InputError(f"{field.option} {text!r} is not among what can be chosen here.")


def keeping(field: Field, value: str, heading: str) -> Field:
    """Offer what is on record too, where a list does not know it; else a form would lose it."""
    if field.kind != "choice" or field.many or not value:
        return field
    groups = tuple(choices for _, choices in field.groups)
    if any(value == key for choices in (field.choices, *groups) for key, _ in choices):
        return field
    return evolve(field, groups=(*field.groups, (heading, ((value, value),))))


def part_of(section: Section, links: Mapping[int, Callable[[str], str]] | None = None) -> Part:
    """Make a table for a page of a job's section; ids in the last column are left out.

    Parameters
    ----------
    section : Section
        As the job gives it.
    links : mapping of int to callable, optional
        By the place of a column, from the row's id or the cell's text to where it leads.

    Returns
    -------
    Part
        The table.
    """
    by_id = bool(section.headings) and section.headings[-1] == "id"
    width = len(section.headings) - by_id
    rows = []
    for texts in section.rows:
        key = texts[-1] if by_id else texts[0]
        rows.append(
            tuple(
                Cell(text, href=links[place](key) if links and place in links else "")
                for place, text in enumerate(texts[:width])
            )
        )
    return Part(
        title=section.title,
        headings=section.headings[:width],
        rows=tuple(rows),
        empty=section.empty,
        below=section.below,
    )


def told(error: LungwortError) -> str:
    """Say an error of a job so that an argument it names is found as a field."""
    return _ARGUMENT.sub(lambda found: f"--{found[1].lower()}", str(error))


def version_of(view: View, record: Mapping[str, Any], version: int) -> Mapping[str, Any]:
    """Give the version on which a form was opened; the newest where it is not known."""
    for one in view.plain.get("history", ()):
        if one.get("version") == version:
            found: Mapping[str, Any] = one
            return found
    return record


def version_in(form: Posted) -> int:
    """Tell on which version a form was opened; 0 where it is not known."""
    text = form.text("version") or ""
    return int(text) if text.isascii() and text.isdigit() and len(text) < 10 else 0  # noqa: PLR2004 - far above any version
