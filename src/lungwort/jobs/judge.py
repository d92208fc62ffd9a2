"""The main job: from a logger's files and hand tests to a verdict, shown and on paper."""

from __future__ import annotations

from typing import TYPE_CHECKING

from attrs import evolve, field, frozen

from lungwort.errors import InputError
from lungwort.jobs.inputs import (
    parse_duration,
    parse_moment,
    parse_pressure_bar_g,
    parse_temperature_c,
)
from lungwort.jobs.reading import Reading
from lungwort.limits.model import Conditions

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable
    from datetime import datetime
    from pathlib import Path

    from lungwort.paper.content import Cover, ExcursionRow, FindingRow
    from lungwort.verdict.model import Options, Verdict

# What is logged beside the air and helps to read it, whatever the limits ask for.
_BESIDE = ("pressure", "temperature", "relative_humidity", "flow")


def _paths(values: Iterable[Path]) -> tuple[Path, ...]:
    return tuple(values)


def _texts(values: Iterable[str]) -> tuple[str, ...]:
    return tuple(values)


@frozen
class Request:
    """What the user asks to be judged.

    Parameters
    ----------
    files : tuple of path
        Logger's files; empty where hand tests alone are judged.
    limits : str
        Id of a limit set, or a file of the user's own.
    reading : Reading
        How the files are to be read.
    spots : tuple of str
        Hand tests, as typed.
    supply_pressure, lowest_temperature : str, optional
        What is known of the supply, as typed.
    begin, end : str, optional
        Period to judge, as typed.
    decision : str
        ``simple`` or ``guarded``.
    guard_factor : float
        Width of the guard band in U.
    min_coverage : float
        Least coverage, 0 to 1.
    join : str, optional
        Length of time below which outside runs are one excursion.
    min_excursion : str, optional
        Length of time below which excursions are not listed apart.
    uncertainties : path, optional
        The user's own uncertainties.
    outlet : str
        Name of the outlet, for the paper.
    """

    files: tuple[Path, ...] = field(converter=_paths)
    limits: str
    reading: Reading = field(factory=Reading)
    spots: tuple[str, ...] = field(factory=tuple, converter=_texts)
    supply_pressure: str | None = None
    lowest_temperature: str | None = None
    begin: str | None = None
    end: str | None = None
    decision: str = "simple"
    guard_factor: float = 1.0
    min_coverage: float = 0.9
    join: str | None = None
    min_excursion: str | None = None
    uncertainties: Path | None = None
    outlet: str = ""


def judge(
    request: Request, *, now: datetime, progress: Callable[[int, int], None] | None = None
) -> Verdict:
    """Read, judge and give the verdict.

    Parameters
    ----------
    request : Request
        What is asked.
    now : datetime
        Present moment, with a time zone.
    progress : callable, optional
        Called with bytes read and bytes in all.

    Returns
    -------
    Verdict
        The verdict.

    Raises
    ------
    InputError
        Where anything that was given cannot be used.
    """
    from lungwort.limits.load import limit_set  # noqa: PLC0415 - keeps --help instant
    from lungwort.logs.read import read_with  # noqa: PLC0415 - keeps --help instant
    from lungwort.spot.parse import parse_spot  # noqa: PLC0415 - keeps --help instant
    from lungwort.verdict import decision  # noqa: PLC0415 - keeps --help instant
    from lungwort.verdict.judge import check_options  # noqa: PLC0415 - keeps --help instant
    from lungwort.verdict.judge import judge as hold  # noqa: PLC0415 - keeps --help instant

    if not request.files and not request.spots:
        raise InputError(
            "nothing was given to judge. Name a logger's file, or give hand tests with --spot."
        )
    limits = limit_set(request.limits)
    spots = tuple(parse_spot(text) for text in request.spots)
    supply, taken = _conditions(request)
    reading = request.reading.options((*dict.fromkeys(limit.analyte for limit in limits), *_BESIDE))
    options = _options(request, reading.zone)
    check_options(options, now)
    known = (
        decision.uncertainties(request.uncertainties) if request.uncertainties is not None else None
    )
    log = None
    if request.files:
        log = read_with(list(request.files), reading, now=now, progress=progress)
        if request.outlet:
            log = log.with_outlet(request.outlet)
    verdict = hold(
        log, limits, spots=spots, supply=supply, options=options, uncertainties=known, now=now
    )
    return evolve(verdict, notes=(*taken, *verdict.notes)) if taken else verdict


def _conditions(request: Request) -> tuple[Conditions, tuple[str, ...]]:
    pressure = lowest = None
    taken: tuple[str, ...] = ()
    if request.supply_pressure is not None:
        pressure, said = parse_pressure_bar_g(request.supply_pressure, "--supply-pressure")
        taken = (said,) if said else ()
    if request.lowest_temperature is not None:
        lowest = parse_temperature_c(request.lowest_temperature, "--lowest-temperature")
    return Conditions(supply_pressure_bar_g=pressure, lowest_temperature_c=lowest), taken


def _options(request: Request, zone: str | None) -> Options:
    from lungwort.verdict.model import Options  # noqa: PLC0415 - keeps --help instant

    return Options(
        decision=request.decision,
        guard_factor=request.guard_factor,
        min_coverage=request.min_coverage,
        join_s=None
        if request.join is None
        else parse_duration(request.join, "--join").total_seconds(),
        min_excursion_s=(
            0.0
            if request.min_excursion is None
            else parse_duration(request.min_excursion, "--min-excursion").total_seconds()
        ),
        start=None if request.begin is None else parse_moment(request.begin, zone, "--from"),
        end=None if request.end is None else parse_moment(request.end, zone, "--to"),
    )


@frozen
class Kind:
    """What a file of lungwort's own looks like at its beginning, in lower case."""

    name: str
    begins: bytes
    holds: bytes = b""


PDF = Kind("PDF", b"%pdf")
HTML = Kind("page", b"<!doctype", b"lungwort")
XLSX = Kind("workbook", b"pk")
JSON = Kind("result", b"{", b'"lungwort-result/')
RECIPE = Kind("recipe", b"format = ", b'"lungwort-recipe/')


@frozen
class Outputs:
    """Where results are to be written; None for not at all."""

    pdf: Path | None = None
    html: Path | None = None
    xlsx: Path | None = None
    json: Path | None = None

    def paths(self) -> tuple[Path, ...]:
        """List the files that are asked for."""
        return tuple(
            path for path in (self.pdf, self.html, self.xlsx, self.json) if path is not None
        )


def refuse_to_replace(path: Path, kind: Kind) -> None:
    """Refuse to write over a file that is not of the kind that would be written.

    Parameters
    ----------
    path : path
        Where to write.
    kind : Kind
        What would be written.

    Raises
    ------
    InputError
        Where another file stands there, such as somebody's log.
    """
    if not path.is_file():
        return
    with path.open("rb") as stream:
        head = stream.read(4096).lstrip(b"\xef\xbb\xbf \r\n").lower()
    if head and not (head.startswith(kind.begins) and kind.holds in head):
        raise InputError(
            f"{path} is there already and is no {kind.name} of lungwort's: it would be lost. Choose another name."
        )


def check_outputs(outputs: Outputs, files: tuple[Path, ...] = ()) -> None:
    """Refuse places that cannot be written before a long reading begins.

    Parameters
    ----------
    outputs : Outputs
        The places.
    files : tuple of path
        The logger's files, which must not be written over.

    Raises
    ------
    OutputError
        Where a folder is missing or a place cannot be written.
    InputError
        Where a result would overwrite a logger's file or another result.
    """
    from lungwort.paper.write import checked  # noqa: PLC0415 - keeps --help instant

    sources = {path.resolve() for path in files}
    seen: set[Path] = set()
    for path in outputs.paths():
        place = path.resolve()
        if place in sources:
            raise InputError(
                f"{path} is one of the logger's files and would be written over. Choose another name."
            )
        if place in seen:
            raise InputError(
                f"{path} was given for two results. Choose another name for one of them."
            )
        seen.add(place)
        checked(path)
    kinds = ((outputs.pdf, PDF), (outputs.html, HTML), (outputs.xlsx, XLSX), (outputs.json, JSON))
    for place_given, kind in kinds:
        if place_given is not None:
            refuse_to_replace(place_given, kind)


def write(verdict: Verdict, outputs: Outputs, cover: Cover | None = None) -> tuple[Path, ...]:
    """Write the results that are asked for.

    Parameters
    ----------
    verdict : Verdict
        The verdict.
    outputs : Outputs
        The places.
    cover : Cover, optional
        What goes on the first page.

    Returns
    -------
    tuple of path
        The files written.

    Raises
    ------
    OutputError
        Where one could not be written; nothing is left half-written.
    """
    from lungwort.paper import write as paper  # noqa: PLC0415 - keeps --help instant

    done = []
    if outputs.json is not None:
        done.append(paper.write_json(verdict, outputs.json))
    if outputs.pdf is not None:
        done.append(paper.write_pdf(verdict, outputs.pdf, cover))
    if outputs.html is not None:
        done.append(paper.write_html(verdict, outputs.html, cover))
    if outputs.xlsx is not None:
        done.append(paper.write_xlsx(verdict, outputs.xlsx, cover))
    return tuple(done)


EXIT_CODES = {"conforms": 0, "does_not_conform": 1, "not_proven": 3}
"""Exit codes of the judge command by verdict; 2 means that something could not be used."""


def as_json(verdict: Verdict) -> str:
    """Give the verdict as the JSON object that is documented in docs/reference/result-json.md."""
    from lungwort.paper.result import to_json  # noqa: PLC0415 - keeps --help instant

    return to_json(verdict)


@frozen
class View:
    """A verdict in words, for a screen.

    Parameters
    ----------
    verdict, words, meaning, place : str
        The verdict, its name and meaning, and the outlet.
    facts : tuple of (str, str)
        What was judged, against what, over which period.
    reasons, not_judged, refused, columns_not_used, notes, cautions : tuple of str
        Sentences.
    findings, excursions : tuple
        Rows.
    marks : tuple of (str, str)
        Marks in the findings and what they mean.
    excursions_note : str
        What to say of the excursions as a whole.
    excursions_total : int
        How many there are.
    """

    verdict: str
    words: str
    meaning: str
    place: str
    facts: tuple[tuple[str, str], ...]
    reasons: tuple[str, ...]
    findings: tuple[FindingRow, ...]
    marks: tuple[tuple[str, str], ...]
    excursions: tuple[ExcursionRow, ...]
    excursions_note: str
    excursions_total: int
    not_judged: tuple[str, ...]
    refused: tuple[str, ...]
    columns_not_used: tuple[str, ...]
    notes: tuple[str, ...]
    cautions: tuple[str, ...]


def view(verdict: Verdict) -> View:
    """Put a verdict into words for a screen.

    Parameters
    ----------
    verdict : Verdict
        The verdict.

    Returns
    -------
    View
        The words.
    """
    from lungwort.paper import content  # noqa: PLC0415 - keeps --help instant

    made = content.report(verdict, "", with_charts=False)
    log = verdict.log
    facts = [
        ("Against", made.against),
        ("Period", f"{made.period} ({made.zone})" if made.timed else made.period),
    ]
    if log is not None:
        names = ", ".join(source.name for source in log.sources)
        facts.append(("Files", f"{names} ({log.rows} readings in time)"))
    return View(
        verdict=verdict.overall,
        words=made.verdict_words,
        meaning=made.meaning,
        place=made.place,
        facts=tuple(facts),
        reasons=made.reasons,
        findings=made.findings,
        marks=made.marks,
        excursions=made.excursions,
        excursions_note=made.excursions_note,
        excursions_total=len(verdict.excursions),
        not_judged=tuple(
            f"{cause}, {channel}, {span}, {readings} readings: {text}"
            for cause, channel, span, readings, text in made.not_judged.rows
        ),
        refused=tuple(
            f"{file}: {rows} rows: {cause} (first at line {lines})"
            + (f": {sample}" if sample else "")
            for file, cause, rows, lines, sample in made.refused.rows
        ),
        columns_not_used=made.columns_not_used,
        notes=made.notes,
        cautions=made.cautions,
    )
