"""Instruments: what measures, with its channels, calibrations and bump tests."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import TYPE_CHECKING, Final

from attrs import frozen
from fastapi import APIRouter
from fastapi.responses import Response

from lungwort.air.analytes import ANALYTES
from lungwort.errors import LungwortError, UnknownRecordError
from lungwort.jobs.catalogue import instrument as job
from lungwort.register.model import BUMP_TEST, Instrument
from lungwort.web.context import Approving, Ctx, Looking, Testing
from lungwort.web.forms import Field, form_page
from lungwort.web.lists import Cell
from lungwort.web.menu import N_
from lungwort.web.pages._noun_pages import pages
from lungwort.web.pages._nouns import NOTE, THEN, Ask, Part, Thing, own_path, part_of, told
from lungwort.web.posted import Form, Posted, plain_name

if TYPE_CHECKING:
    from collections.abc import Mapping
    from typing import Any

    from lungwort.jobs.catalogue.shape import Section, View

PLACE: Final = "/instruments"
FIRST_ROWS: Final = 4
MORE_ROWS: Final = 3
MOST_ROWS: Final = 40
CHANNEL: Final = ("analyte", "low", "high", "unit", "uncertainty")
ROW: Final = ("analyte", "reference", "found", "left", "unit", "tolerance")
UNITS: Final = (
    "ppm",
    "%",
    "mg/m3",
    "°C pressure dew point",
    "°C atmospheric dew point",
    "L/min",
    "bar(g)",
    "°C",
)


@frozen
class Grid:
    """Rows of small fields.

    Parameters
    ----------
    kind : str
        ``channel`` or ``row``.
    rows : tuple of dict of str to str
        What stands in them, by the name of the column.
    """

    kind: str
    rows: tuple[dict[str, str], ...]


def _sent(form: Mapping[str, str], names: tuple[str, ...]) -> list[dict[str, str]]:
    numbers = sorted(
        {
            int(number)
            for name in form
            for column, _, number in [name.partition(".")]
            if column in names and number.isascii() and number.isdigit() and len(number) <= 3  # noqa: PLR2004 - far above the most
        }
    )
    return [
        {name: form.get(f"{name}.{number}", "").strip() for name in names} for number in numbers
    ]


def _channel_text(row: Mapping[str, str]) -> str:
    """Write a row as the job reads it."""
    low, high, unit = row["low"], row["high"], row["unit"]
    span = f"{low}-{high} " if low or high else ""
    bare = job.bare_unit(unit)
    spread = f" ± {row['uncertainty']} {bare}" if row["uncertainty"] else ""
    return f"{row['analyte']}={span}{unit}{spread}"


def _row_text(row: Mapping[str, str]) -> str:
    shown = "/".join(one for one in (row["reference"], row["found"], row["left"]) if one)
    bare = job.bare_unit(row["unit"])
    allowed = f" ± {row['tolerance']} {bare}" if row["tolerance"] else ""
    return f"{row['analyte']}={shown} {row['unit']}{allowed}"


def _used(rows: list[dict[str, str]]) -> list[dict[str, str]]:
    """Leave out rows in which nothing was typed but the unit."""
    return [row for row in rows if any(row[name] for name in row if name != "unit")]


def _recorded(record: Mapping[str, Any]) -> list[dict[str, str]]:
    return [
        {name: "" if one.get(name) is None else str(one[name]) for name in CHANNEL}
        for one in record.get("channels", ())
    ]


def _more(form: Posted, before: Mapping[str, Any]) -> dict[str, Any]:
    rows = _used(_sent(form.values, CHANNEL))
    if before and rows == _recorded(before):
        return {}
    if rows:
        return {"channels": tuple(map(_channel_text, rows))}
    return {"channels": ("none",)} if before else {}


def _grid(values: Mapping[str, str], record: Mapping[str, Any]) -> dict[str, Any]:
    sent = _sent(values, CHANNEL)
    rows = sent or _recorded(record)
    empty = dict.fromkeys(CHANNEL, "")
    if not sent:
        rows += [dict(empty) for _ in range(1 if record else FIRST_ROWS)]
    elif values.get("more_rows"):
        rows += [dict(empty) for _ in range(MORE_ROWS)]
    return {"grid": Grid("channel", tuple(rows[:MOST_ROWS])), **_known()}


def _known() -> dict[str, Any]:
    analytes = tuple((key, one.name) for key, one in ANALYTES.items() if one.unit)
    return {"analytes": analytes, "units": UNITS}


_ASKS: Final = (
    Ask(
        field=Field(
            name="name",
            label=N_("Short name"),
            option="--name",
            required=True,
            help=N_("As written on it; without blanks, such as monitor-1."),
        )
    ),
    Ask(
        field=Field(
            name="type",
            label=N_("What it is"),
            option="--type",
            help=N_("For example: portable air monitor with logger."),
        )
    ),
    Ask(field=Field(name="serial", label=N_("Serial number"), option="--serial")),
    Ask(
        field=Field(
            name="calibration_months",
            label=N_("Calibrated every"),
            kind="number",
            unit="months",
            option="--calibration-months",
            help=N_(
                "By its maker's instruction. Left empty, the interval of the site's rule set holds."
            ),
        ),
        blank="none",
    ),
    Ask(
        field=Field(
            name="bump_days",
            label=N_("Bump tested every"),
            kind="number",
            unit="days",
            option="--bump-days",
            help=N_(
                "By its maker's instruction. Left empty, the interval of the site's rule set holds."
            ),
        ),
        blank="none",
    ),
    Ask(field=NOTE),
)


def _asks(_ctx: Ctx, _new: bool) -> tuple[Ask, ...]:
    return _ASKS


def _parts(ctx: Ctx, view: View) -> tuple[Part, ...]:
    instrument = view.plain["instrument"]
    *sections, history = view.sections
    papers = {one["id"] for one in view.plain["calibrations"] if one["paper_sha256"]}
    parts = [
        Part(
            title=N_("Channels"),
            headings=("what", "range", "uncertainty"),
            rows=tuple(
                (
                    Cell(
                        ANALYTES[one["analyte"]].name
                        if one["analyte"] in ANALYTES
                        else one["analyte"]
                    ),
                    Cell(job.range_text(one)),
                    Cell(
                        f"± {one['uncertainty']} {job.bare_unit(one['unit'])}"
                        if one["uncertainty"]
                        else "–"
                    ),
                )
                for one in instrument["channels"]
            ),
            empty=N_("None on record: what it measures cannot be held against its ranges."),
        )
    ]
    parts += [_calibrations(ctx, instrument["id"], one, papers) for one in sections]
    return (*parts, part_of(history))


def _calibrations(ctx: Ctx, instrument: str, section: Section, papers: set[str]) -> Part:
    voids = ctx.may("approve")
    rows = []
    for row in section.rows:
        key = row[-1]
        has = key in papers
        cells = [
            *map(Cell, row[:-1]),
            Cell(
                N_("its paper") if has else "–",
                href=f"{PLACE}/{instrument}/papers/{key}" if has else "",
            ),
        ]
        if voids:
            cells.append(Cell(N_("take out"), href=f"{PLACE}/{instrument}/void?part={key}"))
        rows.append(tuple(cells))
    return Part(
        title=section.title,
        headings=(*section.headings[:-1], "paper", *(("mistake",) if voids else ())),
        rows=tuple(rows),
        empty=section.empty,
        below=section.below,
    )


def _actions(_ctx: Ctx, view: View) -> tuple[tuple[str, str, str], ...]:
    instrument = view.plain["instrument"]
    if not instrument["in_use"]:
        return ()
    return (
        (N_("Bump tested"), f"{PLACE}/{instrument['id']}/bump", "test"),
        (N_("Calibrated"), f"{PLACE}/{instrument['id']}/calibrate", "approve"),
    )


INSTRUMENTS: Final = Thing(
    kind=Instrument,
    place=PLACE,
    many=N_("Instruments"),
    add=N_("Add an instrument"),
    adding=N_("A new instrument"),
    change=N_("Change an instrument"),
    retire=N_("Was put away"),
    back=N_("Is in use again"),
    listed=lambda ctx, retired: job.listed(ctx.where, now=ctx.now, retired_too=retired),
    shown=lambda ctx, name: job.show(ctx.where, name, now=ctx.now, history=True),
    asks=_asks,
    facts=job.InstrumentFacts,
    do_add=job.add,
    do_change=job.change,
    do_void=job.void,
    elsewhere=frozenset({"Channels"}),
    parts=_parts,
    actions=_actions,
    more=_more,
    form_template="catalogue/instrument.html",
    form_values=_grid,
)
router = APIRouter()

OF_A_CALIBRATION: Final = (
    Field(
        name="passed",
        label=N_("May the instrument be used?"),
        kind="yesno",
        required=True,
        option="--passed",
        help=N_(
            "Yes only where every channel showed what it should, after adjustment if there was one."
        ),
    ),
    Field(
        name="time",
        label=N_("When"),
        kind="moment",
        option="--time",
        help=N_("In the site's time; left empty it is now."),
    ),
    Field(name="valid_until", label=N_("Valid until"), kind="date", option="--valid-until"),
    Field(
        name="done_by",
        label=N_("Done by"),
        option="--done-by",
        help=N_("Person or laboratory; left empty it is you."),
    ),
    Field(
        name="paper",
        label=N_("Its paper"),
        kind="file",
        option="--paper",
        help=N_("The certificate or a photo of it; it is kept in the workspace."),
    ),
    NOTE,
)


def _rows_asked(
    values: Mapping[str, str], instrument: Mapping[str, Any]
) -> tuple[dict[str, str], ...]:
    sent = _sent(values, ROW)
    empty = dict.fromkeys(ROW, "")
    if sent:
        more = [dict(empty) for _ in range(MORE_ROWS if values.get("more_rows") else 0)]
        return tuple((sent + more)[:MOST_ROWS])
    known = [
        {**empty, "analyte": one["analyte"], "unit": one["unit"]} for one in instrument["channels"]
    ]
    return tuple(known or [dict(empty) for _ in range(FIRST_ROWS)])


def _calibration_form(
    ctx: Ctx,
    view: View,
    kind: str,
    values: Mapping[str, str],
    error: LungwortError | None = None,
) -> Response:
    instrument = view.plain["instrument"]
    bump = kind == BUMP_TEST
    return form_page(
        ctx,
        "catalogue/instrument.html",
        title=N_("Bump test") if bump else N_("Calibration"),
        fields=(*OF_A_CALIBRATION, THEN),
        action=f"{PLACE}/{instrument['id']}/{'bump' if bump else 'calibrate'}",
        submit=N_("Record the bump test") if bump else N_("Record the calibration"),
        values=values,
        error=told(error) if error else None,
        name=instrument["name"],
        back=own_path(values.get("then")) or f"{PLACE}/{instrument['id']}",
        grid=Grid("row", _rows_asked(values, instrument)),
        **_known(),
    )


def _calibrated(ctx: Ctx, instrument_id: str, form: Posted, kind: str) -> Response:
    view = job.show(ctx.where, instrument_id, now=ctx.now)
    instrument = view.plain["instrument"]
    if form.flag("more_rows"):
        return _calibration_form(ctx, view, kind, form.values)
    typed = [
        row
        for row in _sent(form.values, ROW)
        if any(row[name] for name in ("reference", "found", "left", "tolerance"))
    ]
    paper = form.file("paper")
    passed = form.text("passed")
    facts = job.CalibrationFacts(
        rows=tuple(map(_row_text, typed)),
        passed=None if passed is None else passed == "yes",
        time=form.text("time"),
        valid_until=form.text("valid_until"),
        done_by=form.text("done_by"),
        note=form.text("note"),
        paper=paper.path if paper else None,
    )
    do = job.bump if kind == BUMP_TEST else job.calibrate
    try:
        done = do(ctx.session(), instrument["id"], facts)
    except LungwortError as error:
        return _calibration_form(ctx, view, kind, form.values, error)
    ctx.tell(done.said, remarks=done.remarks, kind="done" if facts.passed else "minded")
    return ctx.go(own_path(form.text("then")) or f"{PLACE}/{instrument['id']}")


@router.get(f"{PLACE}/{{instrument_id}}/bump")
def bump_page(ctx: Testing, instrument_id: str) -> Response:
    """Ask what an instrument showed at its bump test."""
    view = job.show(ctx.where, instrument_id, now=ctx.now)
    return _calibration_form(ctx, view, BUMP_TEST, {})


@router.post(f"{PLACE}/{{instrument_id}}/bump")
def bump(ctx: Testing, instrument_id: str, form: Form) -> Response:
    """Record a bump test."""
    return _calibrated(ctx, instrument_id, form, BUMP_TEST)


@router.get(f"{PLACE}/{{instrument_id}}/calibrate")
def calibrate_page(ctx: Approving, instrument_id: str) -> Response:
    """Ask what an instrument showed at its calibration."""
    view = job.show(ctx.where, instrument_id, now=ctx.now)
    return _calibration_form(
        ctx, view, "calibration", {"then": own_path(ctx.request.query_params.get("then"))}
    )


@router.post(f"{PLACE}/{{instrument_id}}/calibrate")
def calibrate(ctx: Approving, instrument_id: str, form: Form) -> Response:
    """Record a calibration."""
    return _calibrated(ctx, instrument_id, form, "calibration")


_ENDINGS: Final = {b"%PDF": ".pdf", b"\x89PNG": ".png", b"\xff\xd8\xff": ".jpg"}


@router.get(f"{PLACE}/{{instrument_id}}/papers/{{calibration_id}}")
def paper(ctx: Looking, instrument_id: str, calibration_id: str) -> Response:
    """Give the paper of a calibration, to be kept and not to be shown: nobody knows what it is."""
    view = job.show(ctx.where, instrument_id, now=ctx.now)
    if calibration_id not in {one["id"] for one in view.plain["calibrations"]}:
        raise UnknownRecordError("No such calibration of this instrument is on record.")
    with tempfile.TemporaryDirectory(prefix="lungwort-") as folder:
        content = job.paper(ctx.where, calibration_id, Path(folder) / "paper").read_bytes()
    ending = next((end for begin, end in _ENDINGS.items() if content.startswith(begin)), "")
    name = plain_name(f"{calibration_id}{ending}")
    return Response(
        content,
        media_type="application/octet-stream",
        headers={"Content-Disposition": f'attachment; filename="{name}"'},
    )


pages(INSTRUMENTS, router)
