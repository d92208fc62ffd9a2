"""Tests by hand: begun, done on a tablet at the outlet, recorded, shown, amended."""

from __future__ import annotations

import hashlib
import json
from datetime import datetime
from functools import cache
from importlib import resources
from typing import TYPE_CHECKING, Annotated, Any, Final
from urllib.parse import quote

from fastapi import APIRouter, Depends, Request
from fastapi.responses import JSONResponse, PlainTextResponse, Response
from markupsafe import Markup

from lungwort.errors import InputError, LungwortError, UnknownRecordError
from lungwort.jobs import hand_test as job
from lungwort.jobs import hand_test_pages as shown
from lungwort.jobs import hand_test_sync as sync
from lungwort.jobs import hand_test_views as views
from lungwort.jobs import photos
from lungwort.jobs.held import STOP
from lungwort.spot import procedure_model as m
from lungwort.web.context import Anybody, Approving, Ctx, Looking, Testing
from lungwort.web.forms import REFUSED, Field, attempt, form_page, form_view
from lungwort.web.lists import Cell, Column, Table, list_page
from lungwort.web.menu import N_
from lungwort.web.pages.tests_words import words_of
from lungwort.web.posted import Form
from lungwort.web.statuses import status_of

if TYPE_CHECKING:
    from lungwort.jobs._hand_test_stand import Stand

router = APIRouter()

STATE_WORDS: Final = {
    "done": N_("done"),
    "void": N_("void"),
    "aborted": N_("given up"),
}
LINE_WORDS: Final = {
    "refused": N_("not accepted"),
    "amended": N_("amended to this"),
    "replaced": N_("amended later"),
}
_REASON: Final = Field(
    name="reason", label=N_("Why"), kind="area", option="--reason", required=True
)
_MOST_SENT_BYTES: Final = 4 * 1024 * 1024
_STATIC: Final = resources.files("lungwort.web") / "static"
_OFFLINE: Final = (
    "js/outlet-test-store.js",
    "js/outlet-test-sync.js",
    "js/outlet-test-model.js",
    "js/outlet-test-inputs.js",
    "js/outlet-test-screens.js",
    "js/outlet-test.js",
    "css/tests.css",
    "css/base.css",
)


@router.get("/tests")
def listed(ctx: Looking) -> Response:
    """List the tests on record, with those under way above."""
    rows = tuple(
        (
            Cell(
                ctx.wording.moment(one.started, one.zone), sort=one.started, href=f"/tests/{one.id}"
            ),
            Cell(one.outlet, href=f"/outlets/{one.outlet_id}"),
            Cell(one.supply),
            Cell(ctx.gettext(STATE_WORDS.get(one.state, one.state))),
            Cell(one.says),
            Cell(one.tester),
            Cell(one.procedure),
        )
        for one in shown.rows(ctx.where)
    )
    table = Table(
        key="tests",
        columns=(
            Column("begun", N_("Begun")),
            Column("outlet", N_("Outlet")),
            Column("supply", N_("Supply")),
            Column("state", N_("State")),
            Column("says", N_("What it says")),
            Column("tester", N_("Tested by")),
            Column("procedure", N_("Procedure")),
        ),
        rows=rows,
        empty=N_("No test by hand is on record yet."),
        file_stem="tests-by-hand",
    )
    return list_page(
        ctx, "tests/list.html", table, under_way=views.open_tests(ctx.where, now=ctx.now)
    )


@router.get("/tests/worker.js")
def worker(ctx: Anybody) -> Response:
    """Give the service worker, with the mark of what it keeps."""
    del ctx
    return Response(
        _worker(),
        media_type="text/javascript; charset=utf-8",
        headers={"Cache-Control": "no-cache", "Service-Worker-Allowed": "/tests/"},
    )


@cache
def _worker() -> str:
    digest = hashlib.sha256()
    for name in (*_OFFLINE, "js/test-worker.js"):
        digest.update((_STATIC / name).read_bytes())
    text = (_STATIC / "js/test-worker.js").read_text(encoding="utf-8")
    return f'const VERSION = "{digest.hexdigest()[:12]}";\n{text}'


@router.get("/tests/new")
def new(ctx: Testing) -> Response:
    """Ask where, by which procedure and by whom is tested."""
    return _beginning(ctx, {})


def _beginning(ctx: Ctx, values: dict[str, str], error: LungwortError | None = None) -> Response:
    found = shown.beginning(ctx.where)
    asked = ctx.request.query_params
    outlet = values.get("outlet") or asked.get("outlet", "")
    place = next((one for one in found.places if outlet in {one.outlet_id, one.outlet}), None)
    procedures = views.procedures(ctx.where.workspace)
    chosen = values.get("procedure") or asked.get("procedure") or (place.procedure if place else "")
    by = ctx.by
    return ctx.page(
        "tests/new.html",
        status=200 if error is None else REFUSED,
        places=found.places,
        place=place,
        people=found.people,
        tester=values.get("tester")
        or next((one for one, name in found.people if by in {one, name}), ""),
        procedures=procedures,
        procedure=next((one for one in procedures if one.id == chosen), None),
        error="" if error is None else str(error),
    )


@router.post("/tests/new")
def begin(ctx: Testing, form: Form) -> Response:
    """Begin a test."""

    def do() -> str:
        outlet = form.text("outlet")
        if outlet is None:
            raise InputError("Choose the outlet first.")
        stand = job.start(
            ctx.session(),
            outlet,
            procedure=form.text("procedure"),
            tester=form.text("tester"),
        )
        if stand.told:
            ctx.tell(ctx.gettext("The test has begun."), kind="minded", remarks=tuple(stand.told))
        return f"/tests/under-way/{stand.id}"

    return attempt(ctx, do, again=lambda error: _beginning(ctx, form.values, error))


@router.get("/tests/procedures/{name}")
def procedure(ctx: Looking, name: str) -> Response:
    """Show a procedure step by step."""
    found = views.procedure(ctx.where.workspace, name)
    return ctx.page("tests/procedure.html", view=views.procedure_view(found), procedure=found)


@router.get("/tests/form/{name}")
def form_on_paper(ctx: Looking, name: str) -> Response:
    """Give the form of a procedure, to be filled in by hand."""
    found = views.procedure(ctx.where.workspace, name)
    return PlainTextResponse(
        job.form(found),
        headers={"Content-Disposition": f'attachment; filename="{found.id}.toml"'},
    )


@router.get("/tests/paper")
def paper(ctx: Testing) -> Response:
    """Ask for a form that was filled in."""
    return _paper(ctx, {})


def _paper(ctx: Ctx, values: dict[str, str], error: LungwortError | None = None) -> Response:
    return form_page(
        ctx,
        "tests/paper.html",
        title=N_("A test that was done on paper"),
        fields=(
            Field(
                name="file",
                label=N_("The form, filled in"),
                kind="file",
                required=True,
                help=N_("The text file of a procedure's form, with what was read and when."),
            ),
        ),
        action="/tests/paper",
        submit=N_("Record the test"),
        values=values,
        error=error,
        procedures=views.procedures(ctx.where.workspace),
    )


@router.post("/tests/paper")
def record_paper(ctx: Testing, form: Form) -> Response:
    """Record a test that was done on paper."""

    def do() -> str:
        file = form.file("file")
        if file is None:
            raise InputError("Choose the form that was filled in.")
        done = job.from_file(ctx.session(), file.path)
        ctx.tell(done)
        return f"/tests/{done.record.id}"

    return attempt(ctx, do, again=lambda error: _paper(ctx, form.values, error))


@router.get("/tests/under-way/{run_id}")
def under_way(ctx: Testing, run_id: str) -> Response:
    """Guide through a test under way: the whole of it goes to the device."""
    return _under_way(ctx, run_id, {})


def _under_way(
    ctx: Ctx, run_id: str, values: dict[str, str], error: LungwortError | None = None
) -> Response:
    try:
        stand = shown.stand_of_run(ctx.where, run_id, now=ctx.now)
    except UnknownRecordError:
        # It was recorded meanwhile: a device that kept entries is told so.
        synced = sync.take_entries(ctx.session(), run_id, sync.Batch(sent=ctx.now))
        if synced.test is None:
            raise
        return ctx.go(f"/tests/{synced.test.id}")
    return ctx.page(
        "tests/under_way.html",
        status=200 if error is None else REFUSED,
        stand=stand,
        progress=_progress(stand),
        document=_script(_document(ctx, stand)),
        plain=_plain_form(run_id, stand, values, error),
        abort=form_view(
            [_REASON],
            action=f"/tests/under-way/{run_id}/abort",
            submit=N_("Give the test up"),
            danger=True,
        ),
        amend=_amend_form(
            f"/tests/under-way/{run_id}/amend",
            tuple(
                (ask.name, ask.ask)
                for _, ask in stand.run.procedure.asks()
                if ask.kind != m.WAIT and stand.run.in_force(ask.name) is not None
            ),
        ),
    )


def _progress(stand: Stand) -> tuple[int, int]:
    steps = stand.run.procedure.steps
    ids = [one.id for one in steps]
    return (len(steps) if stand.step is None else ids.index(stand.step.id) + 1, len(steps))


def _document(ctx: Ctx, stand: Stand) -> dict[str, Any]:
    def said(text: str) -> str:
        return Markup(ctx.wording.said(text, find=ctx.find)).striptags()  # noqa: S704 - marks are taken off

    return {
        **shown.bundle(stand, ctx.now, said),
        "csrf": ctx.visit.csrf,
        "owner": _owner(ctx),
        "who": ctx.user.name,
        "language": ctx.language,
        "words": words_of(ctx),
        "most_photo_bytes": photos.MOST_BYTES,
    }


def _owner(ctx: Ctx) -> str:
    """Give a mark of the person who is at the device, which tells nothing of the visit."""
    whose = ctx.visit.account.id if ctx.visit.account is not None else ctx.visit.person or ""
    return hashlib.sha256(f"lungwort owner\0{whose}".encode()).hexdigest()[:16]


def _script(document: dict[str, Any]) -> Markup:
    """Write JSON so that nothing in it can end the element in which it stands."""
    text = json.dumps(document, ensure_ascii=False, allow_nan=False)
    for sign, code in (("<", "\\u003c"), (">", "\\u003e"), ("&", "\\u0026")):
        text = text.replace(sign, code)
    return Markup(text)  # noqa: S704 - made harmless above


def _plain_form(
    run_id: str, stand: Stand, values: dict[str, str], error: LungwortError | None
) -> Any:  # noqa: ANN401 - a form, or none
    ask = stand.ask
    if ask is None or stand.void:
        return None
    choices: tuple[tuple[str, str], ...] = ()
    if ask.kind == m.CHOOSE:
        choices = tuple(
            (one.word, f"{one.word}: {one.says}" if one.says else one.word) for one in ask.choices
        )
    elif ask.kind == m.CONFIRM:
        choices = ((m.YES, N_("Done")),)
    elif ask.kind == m.WAIT:
        begun = stand.wait_left_s is not None
        choices = ((m.END, N_("It has ended")),) if begun else ((m.BEGIN, N_("It begins now")),)
    elif ask.kind == m.PERSON:
        choices = tuple(
            (one.name, one.name)
            for one in stand.run.context.persons
            if one.id != stand.run.context.tester_id
        )
    elif ask.kind == m.INSTRUMENT:
        choices = tuple((one.name, one.name) for one in stand.run.context.instruments)
    elif ask.kind == m.LOT:
        choices = tuple(
            (one.name, one.name) for one in stand.run.context.lots if one.kind == ask.lot_kind
        )
    if choices and ask.optional:
        choices = (*choices, (m.LEFT_OUT, N_("Leave out")))
    entry = Field(
        name="given",
        label=ask.ask,
        kind="choice" if choices else "area" if ask.kind == m.WORDS else "text",
        help=stand.wanted,
        choices=tuple((word, label) for word, label in choices),
        required=not ask.optional,
        unit=ask.unit,
    )
    return form_view(
        [Field(name="name", label="", kind="hidden"), entry],
        action=f"/tests/under-way/{run_id}",
        submit=N_("Enter"),
        values={**values, "name": ask.name},
        error=error,
    )


def _amend_form(action: str, asks: tuple[tuple[str, str], ...]) -> Any:  # noqa: ANN401 - a form, or none
    if not asks:
        return None
    return form_view(
        [
            Field(
                name="name",
                label=N_("Which entry"),
                kind="choice",
                choices=tuple((name, asked) for name, asked in asks),
                required=True,
            ),
            Field(name="given", label=N_("What it should have been"), required=True),
            _REASON,
        ],
        action=action,
        submit=N_("Put it right"),
    )


@router.post("/tests/under-way/{run_id}")
def enter(ctx: Testing, run_id: str, form: Form) -> Response:
    """Enter what a form without script says."""

    def do() -> str:
        stand = job.enter(
            ctx.session(), run_id, form.text("name") or "", form.text("given") or m.LEFT_OUT
        )
        if stand.told:
            ctx.tell(
                ctx.gettext("Not accepted." if stand.refused else "Entered."),
                kind="refused" if stand.refused else "minded",
                remarks=tuple(stand.told),
            )
        return f"/tests/under-way/{run_id}"

    return attempt(ctx, do, again=lambda error: _under_way(ctx, run_id, form.values, error))


@router.post("/tests/under-way/{run_id}/amend")
def amend_open(ctx: Testing, run_id: str, form: Form) -> Response:
    """Put an entry of a test under way right."""

    def do() -> str:
        job.amend_entry(
            ctx.session(),
            run_id,
            form.text("name") or "",
            form.text("given") or m.LEFT_OUT,
            form.text("reason"),
        )
        ctx.tell(ctx.gettext("It was put right; both entries stay to be seen."))
        return f"/tests/under-way/{run_id}"

    return attempt(ctx, do, again=lambda error: _again(ctx, run_id, error))


@router.post("/tests/under-way/{run_id}/abort")
def abort(ctx: Testing, run_id: str, form: Form) -> Response:
    """Give a test up."""

    def do() -> str:
        done = job.abort(ctx.session(), run_id, form.text("reason"))
        ctx.tell(done)
        return f"/tests/{done.record.id}"

    return attempt(ctx, do, again=lambda error: _again(ctx, run_id, error))


@router.post("/tests/under-way/{run_id}/finish")
def finish(ctx: Testing, run_id: str) -> Response:
    """Record a test that is complete or void."""

    def do() -> str:
        done = job.finish(ctx.session(), run_id)
        ctx.tell(done)
        return f"/tests/{done.record.id}"

    return attempt(ctx, do, again=lambda error: _again(ctx, run_id, error))


def _again(ctx: Ctx, run_id: str, error: LungwortError) -> Response:
    ctx.tell(str(error), kind="refused")
    return _under_way(ctx, run_id, {}, error)


@router.get("/tests/under-way/{run_id}/stand")
def stand(ctx: Testing, run_id: str) -> Response:
    """Give all that the device needs, anew."""
    try:
        found = shown.stand_of_run(ctx.where, run_id, now=ctx.now)
    except UnknownRecordError as error:
        return _answer_error(ctx, error)
    return JSONResponse(_document(ctx, found))


async def _sent(request: Request) -> bytes | None:
    """Read what a device sends, up to a length that no device needs; None where it is longer."""
    content = b""
    async for part in request.stream():
        content += part
        if len(content) > _MOST_SENT_BYTES:
            return None
    return content


def _read(content: bytes | None) -> object:
    if content is None:
        raise InputError(
            f"The batch is longer than {_MOST_SENT_BYTES // 1024 // 1024} MB. Send fewer entries at once."
        )
    try:
        return json.loads(content)
    except (ValueError, RecursionError) as error:
        raise InputError("The batch is no JSON. Nothing of it was taken; send it again.") from error


@router.post("/tests/under-way/{run_id}/entries")
def entries(
    ctx: Testing, run_id: str, content: Annotated[bytes | None, Depends(_sent)]
) -> Response:
    """Take what a device kept, each thing once."""
    try:
        batch = sync.batch_of(_read(content))
        synced = sync.take_entries(ctx.session(), run_id, batch)
    except LungwortError as error:
        return _answer_error(ctx, error)

    def said(text: str) -> str:
        return Markup(ctx.wording.said(text, find=ctx.find)).striptags()  # noqa: S704 - marks are taken off

    return JSONResponse(
        {
            "now": ctx.now.isoformat(),
            "csrf": ctx.visit.csrf,
            "owner": _owner(ctx),
            "offset_s": synced.offset.total_seconds(),
            "doubts": [said(one) for one in synced.doubts],
            "answers": [
                {
                    "id": one.id,
                    "state": one.state,
                    "why": said(one.why),
                    "told": [said(two) for two in one.told],
                }
                for one in synced.answers
            ],
            "stand": None
            if synced.stand is None
            else shown.stand_plain(synced.stand, ctx.now, said),
            "test": None
            if synced.test is None
            else {"id": synced.test.id, "state": synced.test.state},
        }
    )


def _answer_error(ctx: Ctx, error: LungwortError) -> Response:
    words = Markup(ctx.wording.said(str(error), find=ctx.find)).striptags()  # noqa: S704 - marks are taken off
    return JSONResponse({"detail": words}, status_code=status_of(error))


@router.post("/tests/under-way/{run_id}/photos")
def attach(ctx: Testing, run_id: str, form: Form) -> Response:
    """Attach a photo to a test under way."""
    try:
        taken = _attached(ctx, run_id, form)
    except LungwortError as error:
        return _answer_error(ctx, error)
    return JSONResponse({"sha256": taken.sha256, "step": taken.step, "name": taken.name})


def _attached(ctx: Ctx, run_id: str, form: Form) -> Any:  # noqa: ANN401 - a photo as it is kept
    file = form.file("photo")
    if file is None:
        raise InputError("Choose a photo.")
    if file.size > photos.MOST_BYTES:
        raise InputError(
            f"The photo has {file.size / 1024 / 1024:.1f} MB; one has at most "
            f"{photos.MOST_BYTES // 1024 // 1024} MB. Take it with a lower resolution."
        )
    return photos.attach(
        ctx.session(),
        run_id,
        form.text("step") or "",
        file.name,
        file.path.read_bytes(),
        taken=_when(ctx, form.text("time"), form.text("sent")),
    )


def _when(ctx: Ctx, time: str | None, sent: str | None) -> datetime | None:
    """Give when a photo was taken, by this computer's clock; None where it was not said."""
    if time is None or sent is None:
        return None
    try:
        taken, now = datetime.fromisoformat(time), datetime.fromisoformat(sent)
        return ctx.now - (now - taken)
    except (ValueError, TypeError, OverflowError):
        return None


@router.get("/tests/under-way/{run_id}/photos/{sha256}")
def open_photo(ctx: Looking, run_id: str, sha256: str) -> Response:
    """Show a photo of a test under way."""
    return _photo(ctx, run_id, sha256)


@router.get("/tests/{test_id}/photos/{sha256}")
def photo(ctx: Looking, test_id: str, sha256: str) -> Response:
    """Show a photo of a test on record."""
    return _photo(ctx, test_id, sha256)


def _photo(ctx: Ctx, test_id: str, sha256: str) -> Response:
    found = photos.read(ctx.where, test_id, sha256)
    return Response(
        found.content,
        media_type=found.media_type,
        headers={
            "Content-Disposition": f"inline; filename*=UTF-8''{quote(found.name, safe='')}",
            "X-Content-Type-Options": "nosniff",
            "Cache-Control": "private, max-age=3600, immutable",
        },
    )


@router.get("/tests/{test_id}")
def test(ctx: Looking, test_id: str) -> Response:
    """Show a test on record: what it says of the air, and what speaks against it."""
    return _test(ctx, test_id)


def _test(ctx: Ctx, test_id: str, **more: Any) -> Response:  # noqa: ANN401 - forms shown again
    found = shown.ended(ctx.where, test_id, now=ctx.now)
    return ctx.page(
        "tests/test.html",
        status=REFUSED if more else 200,
        found=found,
        test=found.test,
        stop=STOP,
        state_words=STATE_WORDS,
        line_words=LINE_WORDS,
        photos=photos.of_test(ctx.where, test_id),
        steps=dict(found.steps),
        refused=more.get("refused", ""),
        amend=_amend_form(f"/tests/{test_id}/amend", found.asks)
        if found.test.state in {"done", "void"}
        else None,
        void=form_view(
            [_REASON],
            action=f"/tests/{test_id}/void",
            submit=N_("Declare it void"),
            danger=True,
        ),
        add_photo=form_view(
            [
                Field(
                    name="step",
                    label=N_("Step"),
                    kind="choice",
                    choices=tuple((one, title) for one, title in found.steps),
                    help=N_("Leave it open where the photo shows the test as a whole."),
                ),
                Field(name="photo", label=N_("Photo"), kind="file", required=True),
            ],
            action=f"/tests/{test_id}/photos",
            submit=N_("Add the photo"),
        ),
    )


@router.post("/tests/{test_id}/amend")
def amend(ctx: Testing, test_id: str, form: Form) -> Response:
    """Amend an entry of a test on record."""

    def do() -> str:
        done = job.amend(
            ctx.session(),
            test_id,
            form.text("name") or "",
            form.text("given") or m.LEFT_OUT,
            form.text("reason"),
        )
        ctx.tell(done)
        return f"/tests/{done.record.id}"

    return attempt(ctx, do, again=lambda error: _test(ctx, test_id, refused=str(error)))


@router.post("/tests/{test_id}/void")
def void(ctx: Approving, test_id: str, form: Form) -> Response:
    """Declare a test on record void."""

    def do() -> str:
        ctx.tell(job.void(ctx.session(), test_id, form.text("reason")))
        return f"/tests/{test_id}"

    return attempt(ctx, do, again=lambda error: _test(ctx, test_id, refused=str(error)))


@router.post("/tests/{test_id}/photos")
def add_photo(ctx: Testing, test_id: str, form: Form) -> Response:
    """Add a photo to a test on record."""

    def do() -> str:
        file = form.file("photo")
        if file is None:
            raise InputError("Choose a photo.")
        if file.size > photos.MOST_BYTES:
            raise InputError(
                f"The photo is too large; one has at most {photos.MOST_BYTES // 1024 // 1024} MB."
            )
        done = photos.add(
            ctx.session(), test_id, form.text("step") or "", file.name, file.path.read_bytes()
        )
        ctx.tell(done)
        return f"/tests/{test_id}#photos"

    return attempt(ctx, do, again=lambda error: _test(ctx, test_id, refused=str(error)))
