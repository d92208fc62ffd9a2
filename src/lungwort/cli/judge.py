"""``lungwort judge``: hold a logger's files and hand tests against a limit set."""

from __future__ import annotations

import sys
from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated

import typer

from lungwort.cli import options as opt

_EVIDENCE = "Evidence and conditions"
_RULES = "How it is judged"
_RESULTS = "Results"


def judge(
    files: Annotated[
        list[Path] | None,
        typer.Argument(
            metavar="FILE…", help="Logger's files; several are joined in time.", show_default=False
        ),
    ] = None,
    limits: Annotated[
        str,
        typer.Option(
            "--limits", metavar="ID|FILE", help="Limit set; 'lungwort limits' lists them."
        ),
    ] = ...,  # type: ignore[assignment]
    spot: Annotated[
        list[str] | None,
        typer.Option(
            "--spot",
            metavar="TEST",
            help="Hand test, such as 'oil=<0.05 mg/m3', 'oil=indicator: nothing seen' or odour=none; repeat as needed.",
            rich_help_panel=_EVIDENCE,
        ),
    ] = None,
    supply_pressure: Annotated[
        str | None,
        typer.Option(
            "--supply-pressure",
            metavar="PRESSURE",
            help="Highest supply pressure, such as '7 bar(g)'.",
            rich_help_panel=_EVIDENCE,
        ),
    ] = None,
    lowest_temperature: Annotated[
        str | None,
        typer.Option(
            "--lowest-temperature",
            metavar="TEMPERATURE",
            help="Lowest temperature that the air line or cylinder meets, such as '5 °C'.",
            rich_help_panel=_EVIDENCE,
        ),
    ] = None,
    outlet: Annotated[
        str,
        typer.Option(
            "--outlet",
            metavar="NAME",
            help="Name of the outlet, for the paper.",
            rich_help_panel=_EVIDENCE,
        ),
    ] = "",
    begin: Annotated[
        str | None,
        typer.Option(
            "--from", metavar="MOMENT", help="Begin of the period to judge.", rich_help_panel=_RULES
        ),
    ] = None,
    end: Annotated[
        str | None,
        typer.Option(
            "--to", metavar="MOMENT", help="End of the period to judge.", rich_help_panel=_RULES
        ),
    ] = None,
    decision: Annotated[
        str,
        typer.Option(
            "--decision",
            metavar="simple|guarded",
            help="Decision rule: simple acceptance, or guarded by the uncertainty.",
            rich_help_panel=_RULES,
        ),
    ] = "simple",
    guard_factor: Annotated[
        float,
        typer.Option(
            "--guard-factor",
            metavar="R",
            help="Width of the guard band in U (k = 2).",
            rich_help_panel=_RULES,
        ),
    ] = 1.0,
    coverage: Annotated[
        float,
        typer.Option(
            "--coverage",
            metavar="SHARE",
            help="Least share of the period with usable readings, 0 to 1.",
            rich_help_panel=_RULES,
        ),
    ] = 0.9,
    join: Annotated[
        str | None,
        typer.Option(
            "--join",
            metavar="TIME",
            help="Excursions nearer than this are one; three sampling intervals if not given.",
            rich_help_panel=_RULES,
        ),
    ] = None,
    min_excursion: Annotated[
        str | None,
        typer.Option(
            "--min-excursion",
            metavar="TIME",
            help="Excursions shorter than this count, but are not listed apart.",
            rich_help_panel=_RULES,
        ),
    ] = None,
    uncertainties: Annotated[
        Path | None,
        typer.Option(
            "--uncertainties",
            metavar="FILE",
            help="Your own uncertainties (TOML).",
            rich_help_panel=_RULES,
        ),
    ] = None,
    recipe: opt.Recipe = None,
    zone: opt.Zone = None,
    date_order: opt.DateOrder = None,
    decimal: opt.Decimal = None,
    delimiter: opt.Delimiter = None,
    encoding: opt.Encoding = None,
    unit: opt.Unit = None,
    column: opt.Column = None,
    ignore: opt.Ignore = None,
    time_column: opt.TimeColumn = None,
    start: opt.Start = None,
    missing: opt.Missing = None,
    header_line: opt.HeaderLine = None,
    sheet: opt.Sheet = None,
    trust: opt.Trust = None,
    settle: opt.Settle = None,
    settle_gap: opt.SettleGap = None,
    as_json: Annotated[
        bool,
        typer.Option(
            "--json", help="Print one JSON object and nothing else.", rich_help_panel=_RESULTS
        ),
    ] = False,
    json_file: Annotated[
        Path | None,
        typer.Option(
            "--json-file", metavar="FILE", help="Write the JSON object.", rich_help_panel=_RESULTS
        ),
    ] = None,
    pdf: Annotated[
        Path | None,
        typer.Option(
            "--pdf", metavar="FILE", help="Write the report as PDF/A-3.", rich_help_panel=_RESULTS
        ),
    ] = None,
    html: Annotated[
        Path | None,
        typer.Option(
            "--html", metavar="FILE", help="Write the report as one page.", rich_help_panel=_RESULTS
        ),
    ] = None,
    xlsx: Annotated[
        Path | None,
        typer.Option(
            "--xlsx", metavar="FILE", help="Write the workbook.", rich_help_panel=_RESULTS
        ),
    ] = None,
) -> None:
    """Hold a logger's files and hand tests against a limit set.

    Leaves with 0 where the air conforms, 1 where it does not, 3 where it is not proven, and 2
    where something could not be read or used.

    Example: lungwort judge log.csv --limits en12021-2014-airline --supply-pressure "7 bar(g)"
    --spot "oil=<0.05 mg/m3" --spot odour=none --spot "liquid water=none" --pdf report.pdf
    """
    from lungwort.jobs import judge as job  # noqa: PLC0415 - keeps --help instant
    from lungwort.jobs.reading import Reading  # noqa: PLC0415 - keeps --help instant

    request = job.Request(
        files=files or (),
        limits=limits,
        reading=Reading(
            recipe=recipe,
            zone=zone,
            date_order=date_order,
            decimal=decimal,
            delimiter=delimiter,
            encoding=encoding,
            sheet=sheet,
            unit=unit or (),
            column=column or (),
            ignore=ignore or (),
            time_column=time_column or (),
            missing=missing or (),
            trust=trust or (),
            start=start,
            header_line=header_line,
            settle=settle,
            settle_gap=settle_gap,
        ),
        spots=spot or (),
        supply_pressure=supply_pressure,
        lowest_temperature=lowest_temperature,
        begin=begin,
        end=end,
        decision=decision,
        guard_factor=guard_factor,
        min_coverage=coverage,
        join=join,
        min_excursion=min_excursion,
        uncertainties=uncertainties,
        outlet=outlet,
    )
    outputs = job.Outputs(pdf=pdf, html=html, xlsx=xlsx, json=json_file)
    job.check_outputs(outputs, request.files)
    from lungwort.cli import show  # noqa: PLC0415 - keeps --help instant

    with show.progress(quiet=as_json) as tell:
        verdict = job.judge(request, now=datetime.now(UTC), progress=tell)
        written = job.write(verdict, outputs)
    if as_json:
        sys.stdout.write(job.as_json(verdict) + "\n")
    else:
        show.verdict(job.view(verdict), written)
    raise typer.Exit(job.EXIT_CODES[verdict.overall])
