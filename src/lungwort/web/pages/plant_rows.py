"""The plant sheet of a supply as a form with a row for each compressor, wearer, pipe and cylinder."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import TYPE_CHECKING, Final

from attrs import evolve, field, frozen
from fastapi import APIRouter
from fastapi.responses import Response
from markupsafe import Markup, escape

from lungwort.errors import LungwortError
from lungwort.jobs import plant_form as job
from lungwort.jobs import plant_sheet
from lungwort.web.context import Ctx, Keeping
from lungwort.web.forms import REFUSED, attempt
from lungwort.web.german_values import certain
from lungwort.web.pages import plant_words as words
from lungwort.web.posted import Form, Posted

if TYPE_CHECKING:
    from lungwort.jobs.plant_form import Draft, Mistake, Part
    from lungwort.jobs.plant_sheet import SupplyPlant

router = APIRouter()

SPARE: Final = 1
MORE: Final = 3
"""Empty rows that a part gets when more are asked for."""
_KEYS: Final = re.compile(
    r"\b("
    + "|".join(sorted((key for key in words.LABELS if "_" in key), key=len, reverse=True))
    + r")\b"
)
_QUOTES: Final = {"en": ("“", "”"), "de": ("„", "“")}


@frozen(kw_only=True)
class RowView:
    """One table of a part as it is shown.

    Parameters
    ----------
    number : int
        Its number in the form, from 0.
    values : mapping
        What stands in it.
    wrong : dict of str to list of str
        What is wrong, by the name of a field.
    """

    number: int
    values: Mapping[str, str]
    wrong: dict[str, list[Markup]] = field(factory=dict)

    @property
    def is_empty(self) -> bool:
        """Whether nothing stands in it."""
        return not any(self.values.values())


@frozen(kw_only=True)
class PartView:
    """A part of the sheet as it is shown.

    Parameters
    ----------
    part : Part
        What it holds.
    heading, one : str
        What they and one of them are called, in English.
    rows : tuple of RowView
        Those that hold something, and empty ones.
    """

    part: Part
    heading: str
    one: str
    rows: tuple[RowView, ...]

    @property
    def is_used(self) -> bool:
        """Whether anything stands in it."""
        return any(not one.is_empty for one in self.rows)


def sheet_form(
    ctx: Ctx,
    plant: SupplyPlant,
    draft: Draft,
    *,
    reason: str = "",
    more: str = "",
    error: LungwortError | None = None,
) -> Response:
    """Show a plant sheet as a form.

    Parameters
    ----------
    ctx : Ctx
        What the page is made in.
    plant : SupplyPlant
        Whose it is.
    draft : Draft
        What stands in it.
    reason : str
        Why it changes, as typed.
    more : str
        The part of which more empty rows are wanted.
    error : LungwortError, optional
        Why it was refused.

    Returns
    -------
    fastapi.Response
        The page.
    """
    draft = job.tidied(draft)
    found = job.mistakes(draft) if error is not None else ()
    views = {
        part.key: PartView(
            part=part,
            heading=words.PARTS[part.key][0],
            one=words.PARTS[part.key][1],
            rows=_rows(ctx, part, draft, found, more=more == part.key),
        )
        for part in job.PARTS
    }
    groups = [
        (heading, lead, [views[key] for key in keys], _is_open(views, keys, found, more))
        for heading, lead, keys in words.GROUPS
    ]
    return ctx.page(
        "plant/rows.html",
        status=200 if error is None else REFUSED,
        plant=plant,
        draft=draft,
        groups=groups,
        reason=reason,
        more=more,
        error=error,
        told=[_told(ctx, draft, one) for one in found],
        nodes=job.places(draft, _outlets(ctx, plant)),
        numbers=" ".join(_number_fields(views)),
        label_of=words.label_of,
        choice_of=words.choice_of,
        help_of=words.HELP,
    )


def _rows(
    ctx: Ctx, part: Part, draft: Draft, found: tuple[Mistake, ...], *, more: bool
) -> tuple[RowView, ...]:
    rows = list(draft.rows.get(part.key, ()))
    if part.single:
        rows = rows[:1] or [{}]
    else:
        rows.extend({} for _ in range(MORE if more else SPARE))
    made = []
    for number, values in enumerate(rows):
        wrong: dict[str, list[Markup]] = {}
        for one in found:
            if one.part == part.key and one.row == number:
                for name in _fields_of(part, one.key):
                    wrong.setdefault(name, []).append(worded(ctx, one))
        made.append(RowView(number=number, values=values, wrong=wrong))
    return tuple(made)


def _fields_of(part: Part, key: str) -> tuple[str, ...]:
    return tuple(name for name in part.names if name == key or name.startswith(f"{key}."))


def _is_open(
    views: Mapping[str, PartView], keys: tuple[str, ...], found: tuple[Mistake, ...], more: str
) -> bool:
    wrong = any(one.part in keys for one in found)
    return wrong or more in keys or any(views[key].is_used for key in keys)


def _number_fields(views: Mapping[str, PartView]) -> list[str]:
    made = []
    for view in views.values():
        for entry in view.part.entries:
            if entry.kind in {job.NUMBER, job.ENDS}:
                names = _fields_of(view.part, entry.key)
                made += [
                    f"{view.part.key}-{row.number}-{name}" for row in view.rows for name in names
                ]
    return made


def _outlets(ctx: Ctx, plant: SupplyPlant) -> tuple[str, ...]:
    return plant_sheet.outlets(ctx.where, plant.id)


def worded(ctx: Ctx, mistake: Mistake) -> Markup:
    """Say what is wrong in the words of the form.

    Parameters
    ----------
    ctx : Ctx
        What the page is made in.
    mistake : Mistake
        What was found.

    Returns
    -------
    markupsafe.Markup
        HTML.
    """
    begin, end = _QUOTES.get(ctx.language, _QUOTES["en"])

    def label(found: re.Match[str]) -> str:
        return f"{begin}{escape(ctx.gettext(words.label_of(mistake.part, found[1])))}{end}"

    # What was said is HTML already, and a label is escaped.
    return Markup(_KEYS.sub(label, str(ctx.wording.said(mistake.said))))  # noqa: S704


def _told(ctx: Ctx, draft: Draft, mistake: Mistake) -> tuple[str, str, Markup]:
    """Give where a mistake is, as the address of a field and in words, and what it is."""
    if not mistake.part:
        label = ctx.gettext(words.label_of("", mistake.key)) if mistake.key else ""
        return f"top-{mistake.key}" if mistake.key else "", label, worded(ctx, mistake)
    part = job.PART_OF[mistake.part]
    heading, one = (ctx.gettext(text) for text in words.PARTS[part.key])
    if mistake.row < 0:
        return f"part-{part.key}", heading, worded(ctx, mistake)
    row = draft.rows[part.key][mistake.row]
    name = row.get("name", "").strip()
    called = one if part.single else f"{one} {name or mistake.row + 1}"
    fields = _fields_of(part, mistake.key)
    key = mistake.key.partition(".")[0]
    label = ctx.gettext(words.label_of(part.key, key)) if key else ""
    place = f"{part.key}-{mistake.row}-{fields[0]}" if fields else f"part-{part.key}"
    return place, f"{called}, {label}" if label else called, worded(ctx, mistake)


def with_certain_numbers(draft: Draft) -> Draft:
    """Give a form of what is on record, so that its numbers are read again as they are."""
    numbers = {
        part.key: {
            name
            for one in part.entries
            if one.kind in {job.NUMBER, job.ENDS}
            for name in _fields_of(part, one.key)
        }
        for part in job.PARTS
    }
    return evolve(
        draft,
        rows={
            key: tuple(
                {
                    name: certain(value) if name in numbers[key] else value
                    for name, value in row.items()
                }
                for row in rows
            )
            for key, rows in draft.rows.items()
        },
    )


def _draft(form: Posted) -> Draft:
    """Read the form; a row that is to be left out is not there."""
    rows: dict[str, tuple[Mapping[str, str], ...]] = {}
    for part in job.PARTS:
        last = max(
            (int(found[1]) for name in form.fields if (found := _row_name(part).match(name))),
            default=-1,
        )
        rows[part.key] = tuple(
            {name: form.text(f"{part.key}-{number}-{name}") or "" for name in part.names}
            for number in range(min(last, job.MOST_ROWS) + 1)
            if not form.flag(f"{part.key}-{number}-left_out")
        )
    return job.Draft(
        title=form.text("title") or "",
        remark=form.text("remark") or "",
        invented=form.flag("invented"),
        rows=rows,
        loses=form.flag("loses"),
    )


def _row_name(part: Part) -> re.Pattern[str]:
    return re.compile(rf"{part.key}-(\d{{1,4}})-")


@router.post("/plant/sheets/{supply_id}/rows")
def record(ctx: Keeping, form: Form, supply_id: str) -> Response:
    """Check the rows and put the sheet on record; or show more empty rows."""
    plant = plant_sheet.plant_of(ctx.where, supply_id)
    reason = form.text("reason")
    try:
        draft = _draft(form)
    except LungwortError as refused:
        # A number that can be read in two ways: it is shown as it was typed.
        draft = _draft(evolve(form, doubtful={}))
        return sheet_form(ctx, plant, draft, reason=reason or "", error=refused)
    more = form.text("more") or ""
    if more:
        return sheet_form(ctx, plant, draft, reason=reason or "", more=more)

    def do() -> str:
        done = plant_sheet.record(ctx.session(), supply_id, job.checked(draft), reason=reason)
        ctx.tell(done)
        return f"/plant/sheets/{supply_id}"

    return attempt(
        ctx,
        do,
        again=lambda error: sheet_form(ctx, plant, draft, reason=reason or "", error=error),
    )
