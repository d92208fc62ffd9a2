"""Bringing in a logger's files, and looking through what was brought in."""

from __future__ import annotations

import zoneinfo
from functools import cache
from typing import TYPE_CHECKING, Any, Final

from attrs import frozen
from fastapi import APIRouter, Request
from fastapi.responses import JSONResponse, Response

from lungwort.errors import InputError, LungwortError
from lungwort.jobs import first_look, hand_test_pages, import_log, imports, recipes
from lungwort.jobs.catalogue import instrument as instruments
from lungwort.jobs.held import STOP
from lungwort.web import incoming
from lungwort.web.context import Approving, Ctx, Looking, Testing
from lungwort.web.forms import REFUSED, Field, attempt, form_view
from lungwort.web.lists import Cell, Column, Table, list_page
from lungwort.web.menu import N_
from lungwort.web.posted import Form, Posted
from lungwort.web.statuses import status_of
from lungwort.web.tasks import Progress, tasks

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from lungwort.jobs.first_look import Look
    from lungwort.jobs.import_log import Imported
    from lungwort.web.incoming import Batch

router = APIRouter()

AT_ONCE_BYTES: Final = 6 * 1024 * 1024
"""Files up to this size are read while the page is made; larger ones in a task."""

COUNTED_ROWS: Final = 300_000
"""Readings that are gone through whenever the page of an import is made."""

_ENCODINGS: Final = ("utf-8", "utf-16-le", "utf-16-be", "cp1252", "latin-1")
_CHOICES: Final = {
    "date_order": (
        ("dmy", N_("day, month, year")),
        ("mdy", N_("month, day, year")),
        ("ymd", N_("year, month, day")),
    ),
    "decimal": (("point", N_("point (1.5)")), ("comma", N_("comma (1,5)"))),
    "delimiter": (
        (";", N_("semicolon")),
        (",", N_("comma")),
        ("tab", N_("tab")),
        ("|", N_("upright line")),
    ),
    "encoding": tuple((one, one) for one in _ENCODINGS),
    "settle": (
        ("0 min", N_("not at all")),
        ("10 min", "10 min"),
        ("30 min", "30 min"),
        ("60 min", "60 min"),
        ("120 min", "120 min"),
    ),
    "settle_gap": (
        ("5 min", "5 min"),
        ("10 min", "10 min"),
        ("30 min", "30 min"),
        ("60 min", "60 min"),
    ),
}
_PLAIN: Final = (
    "zone",
    "date_order",
    "decimal",
    "delimiter",
    "encoding",
    "header_line",
    "sheet",
    "settle",
    "settle_gap",
    "start",
)
_WORDS: Final = {
    "dmy": N_("The day stands first: 4 March is 04.03."),
    "mdy": N_("The month stands first: 4 March is 03/04."),
    "ymd": N_("The year stands first."),
    "point": N_("The point is the decimal sign."),
    "comma": N_("The comma is the decimal sign."),
}


@router.get("/logs")
def listed(ctx: Looking) -> Response:
    """List what was brought in."""
    rows = tuple(
        (
            Cell(", ".join(one.files), href=f"/logs/{one.id}"),
            Cell(one.outlet, href=f"/outlets/{one.outlet_id}"),
            _moment(ctx, one.start, one.zone),
            _moment(ctx, one.end, one.zone),
            Cell(str(one.readings), sort=one.readings),
            Cell(str(one.refused), sort=one.refused),
            Cell(one.instrument or ctx.gettext("not named")),
            Cell(_word(ctx, one.judged or "not_judged"), mark=one.judged),
        )
        for one in imports.rows(ctx.where)
    )
    table = Table(
        key="logs",
        columns=(
            Column("files", N_("Files")),
            Column("outlet", N_("Outlet")),
            Column("from", N_("From")),
            Column("to", N_("To")),
            Column("readings", N_("Readings"), numeric=True),
            Column("refused", N_("Rows not used"), numeric=True),
            Column("instrument", N_("Instrument")),
            Column("judged", N_("Judged")),
        ),
        rows=rows,
        empty=N_("No logger's file is on record yet."),
        file_stem="logs",
    )
    return list_page(ctx, "logs/list.html", table, waiting=_waiting(ctx))


def _word(ctx: Ctx, key: str) -> str:
    from lungwort.web.rendering import WORDS  # noqa: PLC0415 - they need each other

    return ctx.gettext(WORDS.get(key, N_("not judged yet")))


def _moment(ctx: Ctx, moment: Any, zone: str) -> Cell:  # noqa: ANN401 - a time, or none
    if moment is None:
        return Cell("", sort=0)
    return Cell(ctx.wording.moment(moment, zone), sort=moment)


def _folder(ctx: Ctx) -> Path:
    folder = ctx.where.workspace
    assert folder is not None  # noqa: S101 - `Ctx.where` raises where there is none
    return folder


def _waiting(ctx: Ctx) -> tuple[Batch, ...]:
    if not ctx.may("test"):
        return ()
    return tuple(one for one in incoming.listed(_folder(ctx)) if one.files)


@router.get("/logs/new")
def new(ctx: Testing) -> Response:
    """Ask where the air was taken, what measured, and for the files."""
    return _new(ctx, dict(ctx.request.query_params))


def _new(ctx: Ctx, values: dict[str, str], error: LungwortError | None = None) -> Response:
    incoming.sweep(_folder(ctx), now=ctx.now)
    places = hand_test_pages.beginning(ctx.where).places
    outlet = values.get("outlet", "")
    chosen = next((one for one in places if outlet in {one.outlet_id, one.outlet}), None)
    if chosen is None and len(places) == 1:
        chosen = places[0]
    return ctx.page(
        "logs/new.html",
        status=200 if error is None else REFUSED,
        places=places,
        chosen="" if chosen is None else chosen.outlet_id,
        instruments=_instruments(ctx),
        instrument=values.get("instrument", ""),
        recipes=tuple(one for one in recipes.listed(ctx.where) if not one.problem),
        recipe=values.get("recipe", ""),
        waiting=_waiting(ctx),
        most_mib=ctx.settings.upload_limit >> 20,
        error="" if error is None else str(error),
    )


def _instruments(ctx: Ctx) -> tuple[tuple[str, str], ...]:
    found = instruments.listed(ctx.where, now=ctx.now).plain["instruments"]
    return tuple((str(one["id"]), str(one["name"])) for one in found)


@router.post("/logs/new")
def begin(ctx: Testing, form: Form) -> Response:
    """Take files in from a plain form, or make a place for those that a script sends one by one."""

    def do() -> str:
        places = hand_test_pages.beginning(ctx.where).places
        outlet = form.text("outlet") or ""
        if outlet not in {one.outlet_id for one in places}:
            raise InputError("Choose the outlet at which the air was taken first.")
        received = form.files.get("files", ())
        if not received and not form.flag("by_script"):
            raise InputError("Choose at least one of the logger's files.")
        incoming.check_room(_folder(ctx), sum(one.size for one in received))
        batch = incoming.begin(_folder(ctx), now=ctx.now, owner=ctx.user.name)
        batch.outlet = outlet
        batch.instrument = form.text("instrument") or ""
        batch.recipe = form.text("recipe") or ""
        batch.save()
        for one in received:
            target, stream = batch.take(one.name)
            with stream, one.path.open("rb") as source:
                while block := source.read(1 << 20):
                    stream.write(block)
                batch.keep(target, stream)
        return f"/logs/incoming/{batch.id}"

    if form.flag("by_script"):
        try:
            return JSONResponse({"address": do()})
        except LungwortError as error:
            return JSONResponse(_problem(ctx, error), status_code=REFUSED)
    return attempt(ctx, do, again=lambda error: _new(ctx, form.values, error))


def _problem(ctx: Ctx, error: LungwortError) -> dict[str, str]:
    from markupsafe import Markup  # noqa: PLC0415 - only here

    return {"error": Markup(ctx.wording.said(str(error))).striptags()}  # noqa: S704 - marks are taken off


@router.post("/logs/incoming/{batch_id}/files")
async def receive(ctx: Testing, request: Request, batch_id: str, name: str = "") -> Response:
    """Take in one file as it comes, block by block."""
    from anyio.to_thread import run_sync  # noqa: PLC0415 - only here

    stream = None
    try:
        batch = await run_sync(incoming.find, _folder(ctx), batch_id)
        length = request.headers.get("content-length", "0")
        await run_sync(incoming.check_room, _folder(ctx), int(length) if length.isdigit() else 0)
        target, stream = await run_sync(batch.take, name)
        kept = False
        try:
            async for block in request.stream():
                await run_sync(stream.write, block)
            await run_sync(batch.keep, target, stream)
            kept = True
        finally:
            stream.close()
            if not kept:
                (target.parent / stream.name).unlink(missing_ok=True)
    except LungwortError as error:
        return JSONResponse(_problem(ctx, error), status_code=status_of(error))
    return JSONResponse({"name": target.name})


def _looks(ctx: Ctx) -> incoming.Looks:
    state = ctx.request.app.state
    if not hasattr(state, "looks"):
        state.looks = incoming.Looks()
    return state.looks  # type: ignore[no-any-return] # the state of an app may hold anything


def _recipe_path(ctx: Ctx, batch: Batch) -> Path | None:
    return recipes.find(ctx.where, batch.recipe).path if batch.recipe else None


@frozen
class _Seen:
    look: Look | None
    error: str = ""


def _look(
    ctx: Ctx, batch: Batch, recipe: Path | None, progress: Callable[[int, int], None] | None = None
) -> Look:
    mark = batch.fingerprint(recipe)
    known = _looks(ctx).get(mark)
    if known is not None:
        return known
    found = first_look.look(batch.files, batch.reading(recipe), now=ctx.now, progress=progress)
    return _looks(ctx).put(mark, found)


@router.get("/logs/incoming/{batch_id}")
def settle(ctx: Testing, batch_id: str) -> Response:
    """Show what was understood of files before anything is stored, and what is open."""
    batch = incoming.find(_folder(ctx), batch_id)
    if not batch.files:
        return ctx.go(f"/logs/new?outlet={batch.outlet}")
    try:
        recipe = _recipe_path(ctx, batch)
        known = _looks(ctx).get(batch.fingerprint(recipe))
        if known is None and batch.size_bytes > AT_ONCE_BYTES:
            return ctx.go(f"/tasks/{_look_task(ctx, batch, recipe)}")
        seen = _Seen(_look(ctx, batch, recipe))
    except LungwortError as error:
        seen = _Seen(None, str(error))
    return _settling(ctx, batch, seen)


def _look_task(ctx: Ctx, batch: Batch, recipe: Path | None) -> str:
    def work(progress: Progress) -> str:
        try:
            _look(ctx, batch, recipe, progress)
        except InputError as error:
            # It is shown on the page, where it can be settled otherwise.
            _looks(ctx).put(batch.fingerprint(recipe), first_look.Look(problem=str(error)))
        return f"/logs/incoming/{batch.id}"

    names = ", ".join(one.name for one in batch.files)
    return tasks(ctx.request.app).start(
        f"Reading {names}", work, by=ctx.visit, alone="read", back="/logs/new"
    )


def _settling(ctx: Ctx, batch: Batch, seen: _Seen) -> Response:
    look = seen.look
    place = next(
        (
            one
            for one in hand_test_pages.beginning(ctx.where).places
            if one.outlet_id == batch.outlet
        ),
        None,
    )
    return ctx.page(
        "logs/settle.html",
        batch=batch,
        look=look,
        error=seen.error or ("" if look is None else look.problem),
        place=place,
        site_zone=_site_zone(ctx, batch.outlet),
        zones=_zones(),
        choices=_CHOICES,
        analytes=first_look.analytes(),
        units=_units(),
        words=_WORDS,
        same=look is not None and len({one.headings for one in look.files}) == 1,
        instrument=dict(_instruments(ctx)).get(batch.instrument, ""),
        spark=_spark,
        needs=_needs(batch.refused),
    )


def _site_zone(ctx: Ctx, outlet_id: str) -> str:
    return imports.zone_of(ctx.where, outlet_id) if outlet_id else "UTC"


@cache
def _zones() -> tuple[str, ...]:
    return tuple(
        sorted(
            one
            for one in zoneinfo.available_timezones()
            if "/" in one and not one.startswith(("Etc/", "SystemV/", "posix/", "right/"))
        )
    )


@cache
def _units() -> dict[str, tuple[str, ...]]:
    return {key: first_look.units_for(key) for key, _ in first_look.analytes()}


def _needs(refused: str) -> frozenset[str]:
    return frozenset(
        name
        for name, option in (("also_here", "--also-here"), ("reason", "--reason"))
        if option in refused
    )


def _spark(spark: first_look.Spark) -> str:
    """Write the outline of a small picture as the points of a polygon, 160 wide and 40 high."""
    values = [one for one in (*spark.low, *spark.high) if one is not None]
    if not values:
        return ""
    least, most = min(values), max(values)
    span = (most - least) or 1.0
    top, bottom = [], []
    for place, (low, high) in enumerate(zip(spark.low, spark.high, strict=True)):
        if low is None or high is None:
            continue
        y_high, y_low = (38.0 - 36.0 * (one - least) / span for one in (high, low))
        top.append(f"{place},{y_high:.1f}")
        bottom.append(f"{place},{max(y_low, y_high + 0.8):.1f}")
    return " ".join([*top, *reversed(bottom)])


@router.post("/logs/incoming/{batch_id}")
def settled(ctx: Testing, batch_id: str, form: Form) -> Response:
    """Settle what was chosen, and look again."""
    batch = incoming.find(_folder(ctx), batch_id)

    def do() -> str:
        act = form.text("act") or "settle"
        if act == "reset":
            batch.settled, batch.recipe, batch.refused = {}, "", ""
        elif act == "remove":
            batch.remove(form.text("name") or "")
        elif act == "answer":
            for name in form.fields:
                for value in form.texts(name) if name.startswith("answer_") else ():
                    field, _, chosen = value.partition(":")
                    batch.choose(field, chosen)
            if form.text("start"):
                batch.choose("start", (form.text("start") or "").replace("T", " "))
        else:
            _apply(batch, form)
        batch.refused = ""
        batch.save()
        return f"/logs/incoming/{batch.id}"

    return attempt(ctx, do, again=lambda error: _settling(ctx, batch, _Seen(None, str(error))))


def _apply(batch: Batch, form: Posted) -> None:
    for name in _PLAIN:
        if name in form.fields:
            value = form.text(name) or ""
            if name == "start":
                value = value.replace("T", " ")
            batch.choose(name, value)
    if "missing" in form.fields:
        batch.settled["missing"] = list(
            dict.fromkeys(one for text in form.texts("missing") for one in text.split())
        )
    if "trust" in form.fields or "trust_asked" in form.fields:
        batch.settled["trust"] = list(form.texts("trust"))
    was = []
    now: dict[str, tuple[str, str]] = {}
    for place in range(first_look.MOST_COLUMNS):
        label = form.text(f"label_{place}")
        role = form.text(f"role_{place}")
        if label is None or role is None:
            continue
        was.append(
            (label, form.text(f"was_role_{place}") or "", form.text(f"was_unit_{place}") or "")
        )
        now[label] = (role, form.text(f"unit_{place}") or "")
    incoming.roles(batch, was, now)


@router.post("/logs/incoming/{batch_id}/discard")
def discard(ctx: Testing, batch_id: str) -> Response:
    """Throw files away that came in."""
    incoming.find(_folder(ctx), batch_id).delete()
    ctx.tell(N_("The files were thrown away. Nothing of them is on record."), kind="minded")
    return ctx.go("/logs/new")


@router.post("/logs/incoming/{batch_id}/recipe")
def keep_recipe(ctx: Testing, batch_id: str, form: Form) -> Response:
    """Keep what was settled as a recipe."""
    batch = incoming.find(_folder(ctx), batch_id)

    def do() -> str:
        name = recipes.checked_name(form.text("name") or "")
        text = first_look.recipe(batch.files, batch.reading(_recipe_path(ctx, batch)), name)
        kept = recipes.save(ctx.where, name, text)
        ctx.tell(
            ctx.gettext("Recipe kept. Choose it when you bring in the next file of this logger.")
        )
        batch.recipe, batch.settled = kept.name, {}
        batch.save()
        return f"/logs/incoming/{batch.id}"

    return attempt(ctx, do, again=lambda error: _settling_with(ctx, batch, error))


def _settling_with(ctx: Ctx, batch: Batch, error: LungwortError) -> Response:
    try:
        look = _looks(ctx).get(batch.fingerprint(_recipe_path(ctx, batch)))
    except LungwortError:
        look = None
    answer = _settling(ctx, batch, _Seen(look, str(error)))
    answer.status_code = REFUSED
    return answer


@router.get("/logs/recipes")
def kept_recipes(ctx: Looking) -> Response:
    """List the recipes of the workspace."""
    return ctx.page("logs/recipes.html", recipes=recipes.listed(ctx.where))


@router.post("/logs/recipes/delete")
def delete_recipe(ctx: Testing, form: Form) -> Response:
    """Take a recipe away."""
    ctx.tell(recipes.delete(ctx.where, form.text("name") or ""), kind="minded")
    return ctx.go("/logs/recipes")


@router.post("/logs/incoming/{batch_id}/take")
def take(ctx: Testing, batch_id: str, form: Form) -> Response:
    """Take files into the record: at once, or in a task where they are large."""
    batch = incoming.find(_folder(ctx), batch_id)
    also_here, reason = form.text("also_here"), form.text("reason")
    session = ctx.session()

    def do(progress: Callable[[int, int], None] | None = None) -> str:
        request = import_log.Request(
            files=batch.files,
            outlet=batch.outlet,
            instrument=batch.instrument or None,
            reading=batch.reading(_recipe_path(ctx, batch)),
            by=session.by,
            also_here=also_here,
            reason=reason,
            clock_is_right=form.flag("clock_is_right"),
        )
        try:
            done = import_log.import_files(
                session.where, request, now=session.now, progress=progress
            )
        except LungwortError as error:
            batch.refused = str(error)
            batch.save()
            raise
        _remember(ctx, done)
        batch.delete()
        return f"/logs/{done.record.id}"

    if batch.size_bytes > AT_ONCE_BYTES:
        names = ", ".join(one.name for one in batch.files)
        task = tasks(ctx.request.app).start(
            f"Taking {names} into the record",
            do,
            by=ctx.visit,
            alone="record",
            back=f"/logs/incoming/{batch.id}",
        )
        return ctx.go(f"/tasks/{task}")
    return attempt(ctx, do, again=lambda error: _settling_with(ctx, batch, error))


def _remember(ctx: Ctx, done: Imported) -> None:
    state = ctx.request.app.state
    if not hasattr(state, "imported"):
        state.imported = {}
    state.imported[done.record.id] = done
    for old in list(state.imported)[:-_MOST_REMEMBERED]:
        del state.imported[old]


_MOST_REMEMBERED: Final = 100


@router.get("/logs/{import_id}")
def shown(ctx: Looking, import_id: str) -> Response:
    """Show what was read of an import."""
    return _shown(ctx, import_id)


def _shown(ctx: Ctx, import_id: str, error: LungwortError | None = None) -> Response:
    found = imports.show_import(
        ctx.where,
        import_id,
        count_up_to=None if "counted" in ctx.request.query_params else COUNTED_ROWS,
    )
    remembered: dict[str, Imported] = getattr(ctx.request.app.state, "imported", {})
    void = form_view(
        [Field(name="reason", label=N_("Why"), kind="area", option="--reason", required=True)],
        action=f"/logs/{import_id}/void",
        submit=N_("Take it out: it was a mistake"),
        danger=True,
        error=error,
    )
    return ctx.page(
        "logs/import.html",
        status=200 if error is None else REFUSED,
        found=found,
        row=found.row,
        # What was told when it came in is worth less than the verdict that looked at it since.
        done=None if found.row.judged else remembered.get(import_id),
        void=void,
        stop=STOP,
    )


@router.post("/logs/{import_id}/void")
def void(ctx: Approving, import_id: str, form: Form) -> Response:
    """Take out an import that was made by mistake."""

    def do() -> str:
        done = imports.void_import(ctx.session(), import_id, form.text("reason"))
        ctx.tell(done, kind="minded")
        return f"/logs/{import_id}"

    return attempt(ctx, do, again=lambda error: _shown(ctx, import_id, error))
