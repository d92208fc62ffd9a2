"""A limit set of one's own as a form with a row for each limit; and putting one in force."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from attrs import evolve, fields_dict
from fastapi import APIRouter
from fastapi.responses import Response

from lungwort.air.analytes import ANALYTES, QUANTITY_UNIT
from lungwort.air.units import UNITS
from lungwort.errors import LungwortError
from lungwort.jobs import own_limits as job
from lungwort.jobs import own_limits_form as rows_job
from lungwort.jobs.own_limits_form import Draft, Row
from lungwort.limits.check import AVERAGINGS, STATUSES
from lungwort.limits.model import ANY_READING
from lungwort.web.context import Ctx, Keeping, Looking
from lungwort.web.forms import REFUSED, Field, attempt, form_view
from lungwort.web.menu import N_
from lungwort.web.posted import Form, Posted

if TYPE_CHECKING:
    from lungwort.jobs.limits import SetView

router = APIRouter()

PLACE: Final = "/limits/own"
SPARE: Final = 3
"""Empty rows at the end of the form."""

_HEAD: Final = (
    Field(
        name="id",
        label=N_("Short name"),
        required=True,
        help=N_("Small letters and digits with dashes, such as yard-2026. It names the file."),
    ),
    Field(name="title", label=N_("Title"), required=True, help=N_("As it stands on reports.")),
    Field(
        name="document",
        label=N_("Document that the numbers are from"),
        required=True,
        help=N_("A standard, a contract, or a rule of your own."),
    ),
    Field(name="edition", label=N_("Edition"), required=True),
    Field(name="use", label=N_("For which use of the air"), required=True),
)
_STATE: Final = (
    Field(
        name="temperature_c",
        label=N_("Temperature to which mg/m³ refer"),
        kind="number",
        unit="°C",
        required=True,
    ),
    Field(
        name="pressure_kpa",
        label=N_("Pressure to which mg/m³ refer"),
        kind="number",
        unit="kPa(a)",
        required=True,
    ),
)
_REMARKS: Final = Field(
    name="remarks", label=N_("Remarks"), kind="area", help=N_("One a line; they stand on reports.")
)
_TEXTS: Final = tuple(name for name in fields_dict(Row) if name not in {"required", "left_out"})
_QUANTITIES: Final = (*QUANTITY_UNIT, "volume_fraction")


def _draft(form: Posted) -> Draft:
    """Read the form; rows are numbered, and a row that was sent without its number is not there."""
    count = form.text("rows") or "0"
    most = min(int(count), rows_job.MOST_ROWS) if count.isascii() and count.isdigit() else 0
    rows = tuple(
        Row(
            **{name: form.text(f"{name}-{number}") or "" for name in _TEXTS},
            required=form.text(f"required-{number}") != "no",
            left_out=form.flag(f"left_out-{number}"),
        )
        for number in range(most)
    )
    return Draft(
        id=form.text("id") or "",
        title=form.text("title") or "",
        document=form.text("document") or "",
        edition=form.text("edition") or "",
        use=form.text("use") or "",
        base=form.text("base") or "",
        temperature_c=form.text("temperature_c") or "",
        pressure_kpa=form.text("pressure_kpa") or "",
        remarks="\n".join(form.texts("remarks")),
        rows=tuple(evolve(one, averaging=one.averaging or ANY_READING) for one in rows),
    )


def _page(
    ctx: Ctx, draft: Draft, *, name: str = "", error: LungwortError | None = None
) -> Response:
    taken = draft.taken
    if draft.base and not taken:
        try:
            taken = rows_job.begin(draft.base).taken
        except LungwortError:
            # The message of the form says so already.
            taken = ()
    filled = [one for one in draft.rows if not one.is_empty]
    rows = (*filled, *(Row() for _ in range(SPARE)))[: rows_job.MOST_ROWS]
    head = (*_HEAD, *(() if draft.base else _STATE), _REMARKS)
    values = {one.name: getattr(draft, one.name) for one in head}
    written = ""
    if error is not None:
        try:
            written = rows_job.toml_of(draft)
        except LungwortError:
            written = ""
    return ctx.page(
        "limits/form.html",
        status=200 if error is None else REFUSED,
        form=form_view(head, action=f"{PLACE}/form", submit=N_("Check and save"), values=values),
        draft=draft,
        rows=rows,
        taken=taken,
        name=name,
        error="" if error is None else str(error),
        lines=written.splitlines(),
        analytes=tuple((key, one.name) for key, one in ANALYTES.items()),
        names={key: one.name for key, one in ANALYTES.items()},
        open=_open(rows, "" if error is None else str(error)),
        quantities=_QUANTITIES,
        units=tuple(UNITS),
        averagings=AVERAGINGS,
        statuses=STATUSES,
        uses=rows_job.uses(),
    )


def _open(rows: tuple[Row, ...], told: str) -> frozenset[int]:
    """Say which rows are shown at once: those that a message names, else the first empty one."""
    named = {
        place
        for place, one in enumerate(rows)
        if not one.is_empty
        and any(f"limit {name}" in told for name in (repr(one.key), one.key, repr(one.analyte)))
    }
    empty = next((place for place, one in enumerate(rows) if one.is_empty), len(rows))
    return frozenset(named or {empty})


@router.get(f"{PLACE}/form")
def form_page(ctx: Keeping, base: str = "", name: str = "") -> Response:
    """Ask for the limits of a set, row by row."""
    if not name:
        return _page(ctx, rows_job.begin(base))
    own = job.find(ctx.where, name)
    draft = None if own.found is None else rows_job.draft_of(own.found)
    if draft is None:
        ctx.tell(
            ctx.gettext("This set holds more than the form does. Change its text instead."),
            kind="minded",
            remarks=(own.problem,) if own.problem else (),
        )
        return ctx.go(f"{PLACE}?name={own.name}")
    return _page(ctx, draft, name=name)


@router.post(f"{PLACE}/form")
def save(ctx: Keeping, form: Form) -> Response:
    """Check the rows and keep the set; or show more empty rows."""
    draft, name = _draft(form), form.text("name") or ""
    if form.flag("more"):
        return _page(ctx, draft, name=name)

    def do() -> str:
        saved = job.save(ctx.session(), rows_job.toml_of(draft), name=name or None)
        ctx.tell(saved.said, remarks=saved.remarks)
        return f"{PLACE}/{saved.name}"

    return attempt(ctx, do, again=lambda error: _page(ctx, draft, name=name, error=error))


@router.get(PLACE + "/{name}")
def shown(ctx: Looking, name: str) -> Response:
    """Show a set of one's own, for whom it holds, and offer to put it in force."""
    return _shown(ctx, name, {})


def _shown(
    ctx: Ctx, name: str, values: dict[str, str], error: LungwortError | None = None
) -> Response:
    own = job.find(ctx.where, name)
    view: SetView | None = None
    if own.found is not None:
        view = job.show(ctx.where, name)
    holders = job.holders(ctx.where)
    kinds = {"site": ctx.gettext("Sites"), "supply": ctx.gettext("Supplies")}
    groups: Any = tuple(
        (
            words,
            tuple((f"{one.kind}:{one.id}", one.name) for one in holders if one.kind == kind),
        )
        for kind, words in kinds.items()
    )
    form = form_view(
        (
            Field(
                name="holder",
                label=N_("Where it is to hold"),
                kind="choice",
                required=True,
                groups=groups,
                help=N_("A set of a supply takes the place of that of its site."),
            ),
            Field(name="reason", label=N_("Why"), kind="area", option="--reason", required=True),
        ),
        action=f"{PLACE}/{own.name}/use",
        submit=N_("Put it in force"),
        values=values,
        error=error,
    )
    return ctx.page(
        "limits/own_set.html",
        status=200 if error is None else REFUSED,
        own=own,
        view=view,
        form=form,
    )


@router.post(PLACE + "/{name}/use")
def use(ctx: Keeping, name: str, form: Form) -> Response:
    """Put a set of one's own in force at a site or a supply."""

    def do() -> str:
        done = job.use(ctx.session(), name, form.text("holder") or "", form.text("reason"))
        ctx.tell(done)
        return f"{PLACE}/{name}"

    return attempt(ctx, do, again=lambda error: _shown(ctx, name, form.values, error))
