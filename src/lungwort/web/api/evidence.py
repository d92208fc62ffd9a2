"""Evidence: logs brought in, tests by hand, verdicts and certificates."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import Annotated, Literal

from fastapi import APIRouter, File, Form, Query, UploadFile
from fastapi.responses import FileResponse, Response
from pydantic import BaseModel, Field
from starlette.background import BackgroundTask

from lungwort.jobs import (
    certificates,
    certify,
    hand_test,
    hand_test_views,
    import_log,
    imports,
    inspect,
)
from lungwort.jobs.reading import Reading
from lungwort.web.api.shapes import (
    Approver,
    Asked,
    Json,
    Name,
    Reader,
    Reason,
    Recorded,
    Tester,
    answer,
    recorded,
)
from lungwort.web.context import Testing
from lungwort.web.posted import plain_name

router = APIRouter(tags=["evidence"])

Files = Annotated[list[UploadFile], File(description="Logger's files; joined in time.")]
Word = Annotated[str | None, Form(max_length=200)]
Words = Annotated[list[str] | None, Form()]


def _reading(
    folder: Path,
    recipe: UploadFile | None,
    *,
    zone: str | None,
    date_order: str | None,
    decimal: str | None,
    delimiter: str | None,
    encoding: str | None,
    sheet: str | None,
    unit: list[str] | None,
    column: list[str] | None,
    ignore: list[str] | None,
    trust: list[str] | None,
    settle: str | None,
) -> Reading:
    path = None
    if recipe is not None and recipe.filename:
        path = folder / "recipe.toml"
        path.write_bytes(recipe.file.read(1024 * 1024))
    return Reading(
        recipe=path,
        zone=zone or None,
        date_order=date_order or None,
        decimal=decimal or None,
        delimiter=delimiter or None,
        encoding=encoding or None,
        sheet=sheet or None,
        unit=tuple(unit or ()),
        column=tuple(column or ()),
        ignore=tuple(ignore or ()),
        trust=tuple(trust or ()),
        settle=settle or None,
    )


def _kept(files: list[UploadFile], folder: Path) -> tuple[Path, ...]:
    paths = []
    for number, one in enumerate(files):
        place = folder / str(number)
        place.mkdir()
        path = place / plain_name(one.filename or "")
        with path.open("wb") as target:
            while block := one.file.read(1024 * 1024):
                target.write(block)
        paths.append(path)
    return tuple(paths)


@router.post("/inspect", summary="Say what is understood of files", response_model=Json)
def post_inspect(  # noqa: PLR0917 - as many as reading has options
    ctx: Testing,
    files: Files,
    recipe: Annotated[UploadFile | None, File()] = None,
    zone: Word = None,
    date_order: Word = None,
    decimal: Word = None,
    delimiter: Word = None,
    encoding: Word = None,
    sheet: Word = None,
    unit: Words = None,
    column: Words = None,
    ignore: Words = None,
    trust: Words = None,
    settle: Word = None,
) -> Response:
    """Read files and say what was understood, before anything is stored or judged."""
    with tempfile.TemporaryDirectory(prefix="lungwort-") as name:
        folder = Path(name)
        reading = _reading(
            folder,
            recipe,
            zone=zone,
            date_order=date_order,
            decimal=decimal,
            delimiter=delimiter,
            encoding=encoding,
            sheet=sheet,
            unit=unit,
            column=column,
            ignore=ignore,
            trust=trust,
            settle=settle,
        )
        seen = inspect.inspect(_kept(files, folder), reading, now=ctx.now)
        return Response(inspect.as_json(seen), media_type="application/json")


@router.get("/imports", summary="Logs on record", response_model=Json)
def get_imports(ctx: Reader, outlet: Asked = None) -> Response:
    """List the imports in force."""
    return answer(imports.list_imports(ctx.where, outlet).plain)


@router.post("/imports", summary="Bring in a log", response_model=Json)
def post_import(  # noqa: PLR0917 - as many as reading has options
    ctx: Testing,
    files: Files,
    outlet: Annotated[str, Form(max_length=200)],
    instrument: Word = None,
    also_here: Annotated[str | None, Form(max_length=4000)] = None,
    reason: Annotated[str | None, Form(max_length=4000)] = None,
    recipe: Annotated[UploadFile | None, File()] = None,
    zone: Word = None,
    date_order: Word = None,
    decimal: Word = None,
    delimiter: Word = None,
    encoding: Word = None,
    sheet: Word = None,
    unit: Words = None,
    column: Words = None,
    ignore: Words = None,
    trust: Words = None,
    settle: Word = None,
) -> Response:
    """Read a logger's files and take them into the record; say what the limits say at once.

    The same files read the same way are on record once. A file that can be read in two ways is
    refused with its choices; nothing is stored then.
    """
    with tempfile.TemporaryDirectory(prefix="lungwort-") as name:
        folder = Path(name)
        reading = _reading(
            folder,
            recipe,
            zone=zone,
            date_order=date_order,
            decimal=decimal,
            delimiter=delimiter,
            encoding=encoding,
            sheet=sheet,
            unit=unit,
            column=column,
            ignore=ignore,
            trust=trust,
            settle=settle,
        )
        request = import_log.Request(
            files=_kept(files, folder),
            outlet=outlet,
            instrument=instrument or None,
            reading=reading,
            by=ctx.by,
            also_here=also_here or None,
            reason=reason or None,
        )
        made = import_log.import_files(ctx.where, request, now=ctx.now)
        return Response(import_log.as_json(made), media_type="application/json")


@router.post("/imports/{name}/void", summary="Take out an import made by mistake")
def post_import_void(ctx: Approver, name: Name, body: Reason) -> Recorded:
    """Take out an import; all of it stays to be seen and counts no more."""
    return recorded(imports.void_import(ctx.session(), name, body.reason))


@router.get("/tests", summary="Tests by hand", response_model=Json)
def get_tests(ctx: Reader, outlet: Asked = None) -> Response:
    """List the tests on record and those under way, the newest first."""
    return answer(hand_test_views.listed(ctx.where, now=ctx.now, outlet=outlet).plain)


@router.get("/tests/{name}", summary="One test by hand", response_model=Json)
def get_test(ctx: Reader, name: Name) -> Response:
    """Show a test on record, or one under way."""
    return answer(hand_test_views.show(ctx.where, name, now=ctx.now).plain)


class Begin(BaseModel):
    """A test to begin."""

    outlet: str = Field(max_length=200)
    procedure: str | None = Field(
        default=None,
        pattern=r"^[a-z0-9][a-z0-9-]{0,80}$",
        description="Id of the procedure; the usual one of the outlet where none is given.",
    )


class Entered(BaseModel):
    """Something entered in a test."""

    name: str = Field(max_length=200, description="Which entry; it must be the next one.")
    given: str = Field(max_length=4000, description="As typed.")


@router.post("/tests", summary="Begin a test by hand", response_model=Json)
def post_test(ctx: Tester, body: Begin) -> Response:
    """Begin a test by hand at an outlet."""
    stand = hand_test.start(ctx.session(), body.outlet, procedure=body.procedure)
    return answer(stand.plain())


@router.post("/tests/{name}/entries", summary="Enter something in a test", response_model=Json)
def post_entry(ctx: Tester, name: Name, body: Entered) -> Response:
    """Enter what the test asks for next; the answer says where the test stands then."""
    stand = hand_test.enter(ctx.session(), name, body.name, body.given)
    return answer({**stand.plain(), "told": list(stand.told), "refused": stand.refused})


@router.post("/tests/{name}/finish", summary="Record a test that is complete")
def post_finish(ctx: Tester, name: Name) -> Recorded:
    """Record a test under way that is complete or void."""
    return recorded(hand_test.finish(ctx.session(), name))


@router.post("/tests/{name}/abort", summary="Give up a test under way")
def post_abort(ctx: Tester, name: Name, body: Reason) -> Recorded:
    """Give up a test under way; that it was begun and why it ended goes into the record."""
    return recorded(hand_test.abort(ctx.session(), name, body.reason))


@router.post("/tests/{name}/void", summary="Declare a test on record void")
def post_void(ctx: Approver, name: Name, body: Reason) -> Recorded:
    """Declare a test on record void; it stays, and says nothing of the air any more."""
    return recorded(hand_test.void(ctx.session(), name, body.reason))


class Judge(BaseModel):
    """Evidence to be judged."""

    outlet: str = Field(max_length=200)
    tests: list[str] = Field(default=[], max_length=100)
    logs: list[str] = Field(default=[], max_length=100)
    no_tests: bool = False
    no_logs: bool = False
    begin: str | None = Field(default=None, max_length=40)
    end: str | None = Field(default=None, max_length=40)
    decision: Literal["simple", "guarded"] = "simple"
    guard_factor: float = Field(default=1.0, ge=0, le=3)
    min_coverage: float = Field(default=0.9, gt=0, le=1)
    withdraw: bool = Field(default=False, description="Withdraw the supply where it is outside.")
    only_foresee: bool = Field(default=False, description="Record nothing; say what would be.")


@router.post("/verdicts", summary="Judge the evidence of an outlet", response_model=Json)
def post_verdict(ctx: Tester, body: Judge) -> Response:
    """Judge, record the verdict, and open a finding where a limit is not kept.

    No certificate is issued here: that is done by a person on the page of the outlet.
    """
    request = certify.CertifyRequest(
        outlet=body.outlet,
        tests=tuple(body.tests),
        logs=tuple(body.logs),
        no_tests=body.no_tests,
        no_logs=body.no_logs,
        begin=body.begin,
        end=body.end,
        by=ctx.by,
        decision=body.decision,
        guard_factor=body.guard_factor,
        min_coverage=body.min_coverage,
        certificate=False,
        withdraw=body.withdraw,
        dry_run=body.only_foresee,
    )
    done = certify.certify(ctx.where, request, ctx.now)
    return Response(certify.as_json(done), media_type="application/json")


@router.get(
    "/certificates/{name}/pdf",
    summary="A certificate as it was issued",
    response_class=FileResponse,
    responses={200: {"content": {"application/pdf": {}}}},
)
def get_certificate_pdf(
    ctx: Reader,
    name: Name,
    download: Annotated[bool, Query(description="Whether to give it as a file to keep.")] = False,
) -> Response:
    """Give the PDF byte for byte as it was issued."""
    folder = tempfile.TemporaryDirectory(prefix="lungwort-")
    try:
        shown, path = certificates.copy_certificate(
            ctx.where, name, Path(folder.name) / "certificate.pdf", now=ctx.now
        )
    except BaseException:
        folder.cleanup()
        raise
    return FileResponse(
        path,
        media_type="application/pdf",
        filename=f"{plain_name(shown.certificate.number)}.pdf",
        content_disposition_type="attachment" if download else "inline",
        background=BackgroundTask(folder.cleanup),
    )
