"""From frames of text cells to frames of times and readings, one file at a time."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final

import polars as pl
from attrs import define, field

from lungwort.air import units
from lungwort.errors import AmbiguityError, LogError
from lungwort.logs import times
from lungwort.logs.ahead import ahead
from lungwort.logs.arrange import ROWS, USED
from lungwort.logs.blocks import FEWER, LINE, OVERFLOW, Block, Opened, cell_name, cells
from lungwort.logs.cells import Causes, decimal_evidence, read_cell, read_column
from lungwort.logs.clock import Localiser
from lungwort.logs.decimals import highest_value, highest_values, point_is_decimal, value_cells
from lungwort.logs.headings import read_heading
from lungwort.logs.model import MISSING, PLAIN, TIME, Refusal, censor_column, flag_column
from lungwort.logs.status import Watched, watched_columns

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import datetime

    from lungwort.logs.columns import ValueColumn
    from lungwort.logs.layout import Layout
    from lungwort.logs.options import ReadOptions

_SAMPLE_WIDTH: Final = 160
_WRONG_WIDTH_AT_MOST: Final = 0.2
_SUMMARY_WORDS: Final = (
    "total", "sum", "mean", "average", "avg", "min", "minimum", "max", "maximum", "median", "std", "count",
    "summe", "mittel", "mittelwert", "somme", "moyenne", "suma", "media", "promedio", "gjennomsnitt",
)  # fmt: skip


@define
class FileParser:
    """Reads one file into frames of UTC times and readings, counting what is refused.

    Parameters
    ----------
    opened : Opened
        The file.
    layout : Layout
        How it is laid out, with nothing left open.
    options : ReadOptions
        What the user settled.
    names : dict
        Place of a value column (or label, in a long file) to the channel's name in the log.
    """

    opened: Opened
    layout: Layout
    options: ReadOptions
    names: dict[str, str]
    rows_read: int = 0
    refused: Causes = field(factory=Causes)
    refused_samples: dict[str, str] = field(factory=dict)
    odd_cells: dict[str, Causes] = field(factory=dict)
    notes: list[str] = field(factory=list)
    order: str = ""
    has_offset: bool = False
    localiser: Localiser | None = None
    untimed: list[pl.DataFrame] = field(factory=list)
    formats: list[str] = field(factory=list)
    evidence: times.OrderEvidence = field(factory=times.OrderEvidence)
    _offset_written: bool = field(default=False, repr=False)
    _wall_met: bool = field(default=False, repr=False)
    ragged: Causes = field(factory=Causes)
    watched: list[Watched] = field(factory=list)
    _point_proven: bool | None = field(default=None, repr=False)

    @property
    def name(self) -> str:
        """Name of the file."""
        return self.opened.raw.name

    def refusals(self) -> tuple[Refusal, ...]:
        """Rows not used, by cause, most first."""
        return tuple(
            Refusal(
                cause, count, tuple(self.refused.lines[cause]), self.refused_samples.get(cause, "")
            )
            for cause, count in sorted(
                self.refused.counts.items(), key=lambda item: (-item[1], item[0])
            )
        )

    def refuse(self, cause: str, rows: pl.DataFrame) -> None:
        """Count rows as refused."""
        if rows.height == 0:
            return
        self.refused.add(cause, rows.height, rows[LINE].head(3).to_list())
        if cause not in self.refused_samples:
            shown = [name for name in rows.columns if name not in {LINE, OVERFLOW, TIME}]
            text = (self.layout.delimiter or " | ").join(
                str(cell or "") for cell in rows.select(shown).row(0)
            )
            self.refused_samples[cause] = text[:_SAMPLE_WIDTH]

    def frames(self) -> Iterator[pl.DataFrame]:
        """Yield frames of readings in the order of the file.

        Yields
        ------
        polars.DataFrame
            Columns ``line``, ``time`` (UTC microseconds without a zone), and for each channel its
            value, flag and, where any reading is '<' or '>', its censor code.
        """
        layout = self.layout
        self.watched = watched_columns(layout, self.options)
        # A decimal comma or codes of the user's own need a look at the text of every cell.
        plain = (
            layout.long is None
            and layout.decimal == "point"
            and not self.options.missing
            and (self.options.decimal is not None or self._points_elsewhere())
        )
        blocks = ahead(
            cells(
                self.opened,
                layout.width,
                layout.first_line,
                times=layout.time.columns,
                numbers=[column.index for column in layout.values] if plain else (),
                words=[column.index for column in self.watched],
            )
        )
        held: list[Block] = []
        if layout.time.kind == times.TEXT:
            held, blocks = self._settle_order(blocks)
        current: Block | None = None
        for following in _chain(held, blocks):
            if current is not None:
                yield self._parse(current, last=False)
            current = following
        if current is not None:
            yield self._parse(current, last=True)

    def _time_text(self, frame: pl.DataFrame) -> pl.Series:
        columns = [frame[cell_name(i)] for i in self.layout.time.columns]
        if len(columns) == 1:
            return times.tidy(columns[0].alias(TIME))
        day, clock = times.tidy(columns[0]), times.tidy(columns[1])
        if self.opened.sheet is not None:
            day = day.str.replace(r"[ T]00:00(?::00)?(?:\.0+)?$", "")
            clock = clock.str.replace(r"^18(?:99|90)-\d\d-\d\d[ T]", "").str.replace(
                r"^1900-01-\d\d[ T]", ""
            )
        both = pl.DataFrame({"d": day, "c": clock})
        shortest = both.select(pl.all().str.len_bytes().min()).row(0)
        if all(shortest):
            return both.select(pl.concat_str("d", "c", separator=" ").alias(TIME))[TIME]
        # A clock time alone says nothing: a row without its date must not borrow one.
        joined = (
            pl.when(pl.col("d") == "")
            .then(pl.lit(""))
            .otherwise(pl.concat_str("d", "c", separator=" ").str.strip_chars_end())
        )
        return both.select(joined.alias(TIME))[TIME]

    def _settle_order(self, blocks: Iterator[Block]) -> tuple[list[Block], Iterator[Block]]:
        evidence = self.evidence
        held: list[Block] = []
        for block in blocks:
            held.append(block)
            evidence.add(
                times.date_prefixes(times.tidy(block.frame[cell_name(self.layout.time.columns[0])]))
            )
            if (
                evidence.settled
                or evidence.contradictory
                or not evidence.open_dates
                or self.options.date_order
            ):
                break
        if self.options.date_order:
            self.order = self.options.date_order
            if evidence.open_dates and not evidence.allows(self.order) and not self._fits(evidence):
                raise LogError(
                    f"date order {self.order} was given, but dates such as {evidence.against(self.order)!r} do not "
                    "fit it. Leave --date-order away or give another.",
                    file=self.name,
                    line=self.layout.first_line,
                )
            return held, blocks
        if evidence.contradictory:
            raise self._contradiction()
        if evidence.open_dates and not evidence.settled:
            if self._by_points():
                # Dates with points have the day first wherever they are in use (such as DIN 1355-1).
                self.notes.append(
                    "Dates with points were read with the day first; --date-order mdy reads them otherwise."
                )
                self.order = "dmy"
                return held, blocks
            raise self._open_order()
        self.order = evidence.settled or "dmy"
        return held, blocks

    def _open_order(self) -> AmbiguityError:
        evidence = self.evidence
        sample = evidence.samples[0]
        choices = ("dmy", "mdy", "ymd") if evidence.allows("ymd") else ("dmy", "mdy")
        hint = evidence.hint()
        return AmbiguityError(
            f"dates such as {sample!r} do not say whether the day or the month stands first.",
            choices=choices,
            remedy=f"Settle it with --date-order {choices[0]} (or {' or '.join(choices[1:])}).{' ' + hint if hint else ''}",
            file=self.name,
            line=self.layout.first_line,
            column=self.layout.time.headings[0],
        )

    def _fits(self, evidence: times.OrderEvidence) -> bool:
        """Tell whether dates contradict one another, so that the given order chooses among them."""
        return evidence.contradictory and self.order != "ymd"

    def _parse(self, block: Block, *, last: bool) -> pl.DataFrame:
        self.rows_read += block.frame.height
        frame = block.frame
        if block.plain:
            stamp, utc = self._times(frame)
            if not stamp.has_nulls():
                stamp = stamp if utc else self._localise(stamp)
                return self._readings(frame.with_columns(stamp.alias(TIME)), count=True)
            frame = block.text()
        frame = self._without_blank(frame)
        if last and not block.whole:
            frame = self._without_cut_line(frame)
        frame = self._without_odd_rows(frame)
        stamp, utc = self._times(frame)
        stamp = stamp if utc else self._localise(stamp)
        frame = frame.with_columns(stamp.alias(TIME))
        if stamp.has_nulls():
            self._refuse_untimed(frame.filter(pl.col(TIME).is_null()))
            frame = frame.filter(pl.col(TIME).is_not_null())
        self._doubt_short_rows(frame)
        return self._readings(frame, count=True)

    def _doubt_short_rows(self, frame: pl.DataFrame) -> None:
        """Count rows that lack a cell: their readings are kept, but one may stand in another's place."""
        held, _ = self._with_readings(frame.filter(pl.col(OVERFLOW) == FEWER))
        if held.height:
            self.ragged.add("rows", held.height, held[LINE].head(3).to_list())

    def _without_blank(self, frame: pl.DataFrame) -> pl.DataFrame:
        stamp = pl.col(cell_name(self.layout.time.columns[0]))
        bare = frame.filter(stamp.str.strip_chars() == "")
        if bare.height == 0:
            return frame
        names = [name for name in frame.columns if name != LINE]
        blank = pl.all_horizontal(pl.col(name).str.strip_chars() == "" for name in names)
        empty = bare.filter(blank)
        if empty.height == 0:
            return frame
        self.refused.add("blank line", empty.height, empty[LINE].head(3).to_list())
        return frame.join(empty.select(LINE), on=LINE, how="anti", maintain_order="left")

    def _without_cut_line(self, frame: pl.DataFrame) -> pl.DataFrame:
        if frame.height < 2:  # noqa: PLR2004 - nothing to compare with
            return frame
        names = [cell_name(i) for i in range(self.layout.width)]
        used = [name for name in names if (frame[name].head(50) != "").any()]
        ending = frame.row(-1, named=True)
        before = frame.head(frame.height - 1).tail(50)
        final = used[-1] if used else names[-1]
        usual = before[final].str.len_chars()
        short = not ending[final] and bool((usual > 0).all())
        clipped = 0 < len(ending[final]) < int(usual.min() or 0)  # type: ignore[arg-type]
        if short or clipped:
            self.refuse("last line cut short", frame.tail(1))
            return frame.head(frame.height - 1)
        return frame

    def _without_odd_rows(self, frame: pl.DataFrame) -> pl.DataFrame:
        more = (pl.col(OVERFLOW).str.strip_chars() != "") & (pl.col(OVERFLOW) != FEWER)
        wide = frame.filter(more)
        if wide.height:
            if wide.height > _WRONG_WIDTH_AT_MOST * frame.height:
                line = int(wide[LINE][0])
                hint = (
                    " Decimal commas in a file cut by commas do that."
                    if self.layout.delimiter == ","
                    else ""
                )
                raise LogError(
                    f"{wide.height} of {frame.height} rows have more cells than there are headings "
                    f"({self.layout.width}).{hint} Export the log with another delimiter.",
                    file=self.name,
                    line=line,
                )
            self.refuse("more cells than headings", wide)
            self.ragged.add("rows", wide.height, wide[LINE].head(3).to_list())
            frame = frame.filter(~more)
        place = self.layout.time.columns[0]
        heading = self.layout.headings[place]
        again = (
            frame.filter(pl.col(cell_name(place)).str.strip_chars().str.strip_chars('"') == heading)
            if heading
            else frame.head(0)
        )
        if again.height:
            for row in again.iter_rows(named=True):
                found = [
                    str(row[cell_name(i)] or "").strip().strip('"')
                    for i in range(self.layout.width)
                ]
                if tuple(found) != self.layout.headings:
                    changed = next(
                        (
                            f"{old!r} becomes {new!r}"
                            for old, new in zip(self.layout.headings, found, strict=True)
                            if old != new
                        ),
                        "",
                    )
                    raise LogError(
                        f"the headings change inside the file ({changed}). Split the file there and read the parts.",
                        file=self.name,
                        line=int(row[LINE]),
                    )
            self.refuse("heading line repeated", again)
            frame = frame.join(again.select(LINE), on=LINE, how="anti", maintain_order="left")
        return frame

    def _times(self, frame: pl.DataFrame) -> tuple[pl.Series, bool]:
        """Read the times, and tell whether they are UTC already."""
        plan = self.layout.time
        if plan.kind != times.TEXT:
            column = frame[cell_name(plan.columns[0])]
            stamp = times.parse_numeric(column, plan.kind, start=self._start(), unit_s=plan.unit_s)
            utc = plan.utc_stated or (
                plan.kind == times.ELAPSED
                and self.options.start is not None
                and self.options.start.tzinfo is not None
            )
            self.has_offset = self.has_offset or utc
            return stamp, utc
        text = self._time_text(frame)
        parsed = times.parse_text(text, self.order, with_offset=self._offset_written)
        if not all(form.startswith("%Y") for form in parsed.formats):
            self._watch_order(text)
        self.formats.extend(form for form in parsed.formats if form not in self.formats)
        self._offset_written = parsed.offset
        self._wall_met = self._wall_met or parsed.wall
        self.has_offset = self.has_offset or parsed.offset or plan.utc_stated
        return parsed.times, parsed.offset or plan.utc_stated

    @property
    def mixed_offsets(self) -> bool:
        """Whether some times carry an offset from UTC and others do not."""
        return self._offset_written and self._wall_met

    def _watch_order(self, text: pl.Series) -> None:
        """Stop where later dates contradict the order that earlier ones proved, or prove none."""
        if self.options.date_order is not None:
            return
        self.evidence.add(times.date_prefixes(text))
        if not self.evidence.open_dates:
            return
        if self.evidence.contradictory or not self.evidence.allows(self.order):
            raise self._contradiction()
        if not self.evidence.settled and not self._by_points():
            raise self._open_order()

    def _by_points(self) -> bool:
        return self.evidence.dotted and not self.evidence.two_digit_year

    def _contradiction(self) -> AmbiguityError:
        return AmbiguityError(
            "some dates can only have the day first and some only the month first.",
            choices=("dmy", "mdy"),
            remedy="Export the log with one date format, or settle it with --date-order: rows that do not fit are refused.",
            file=self.name,
            line=self.layout.first_line,
        )

    def _start(self) -> datetime | None:
        start = self.options.start
        if start is not None and start.tzinfo is not None:
            from datetime import UTC  # noqa: PLC0415 - one name

            return start.astimezone(UTC).replace(tzinfo=None)
        return start

    def _localise(self, stamp: pl.Series) -> pl.Series:
        if self.options.zone is None:
            return stamp
        if self.localiser is None:
            self.localiser = Localiser(times.zone_info(self.options.zone))
        return self.localiser.to_utc(stamp)

    def _refuse_untimed(self, rows: pl.DataFrame) -> None:
        place = cell_name(self.layout.time.columns[0])
        stamp = pl.col(place).str.strip_chars()
        no_time, odd = rows.filter(stamp == ""), rows.filter(stamp != "")
        if odd.height:
            for row in odd.head(200).iter_rows(named=True):
                found = [str(row[cell_name(i)] or "") for i in range(self.layout.width)]
                keys = [read_heading(text).key for text in found if text]
                if sum(map(bool, keys)) > 1 and any(key in {"time", "date"} for key in keys):
                    raise LogError(
                        f"other headings begin here ({', '.join(text for text in found[:4] if text)} …). "
                        "Split the file there and read the parts.",
                        file=self.name,
                        line=int(row[LINE]),
                    )
        summary = stamp.str.to_lowercase().str.strip_chars(":").is_in(_SUMMARY_WORDS)
        self.refuse("a summary row", odd.filter(summary))
        kept, said = self._with_readings(odd.filter(~summary))
        bare, blank = self._with_readings(no_time)
        self.refuse(
            "neither a time nor a reading (a comment or a footer)", pl.concat([said, blank])
        )
        self.refuse("time cannot be read", kept)
        self.refuse("no time in the row", bare)
        held = pl.concat([kept, bare])
        if held.height:
            self.untimed.append(self._readings(held, count=False))

    def _with_readings(self, rows: pl.DataFrame) -> tuple[pl.DataFrame, pl.DataFrame]:
        """Part rows without a time into those that can hold a reading and those that hold none."""
        if rows.height == 0:
            return rows, rows
        long = self.layout.long
        places = [long.value] if long else [column.index for column in self.layout.values]
        held = pl.Series(
            [any(map(_may_be_reading, row)) for row in rows.select(map(cell_name, places)).rows()],
            dtype=pl.Boolean,
        )
        return rows.filter(held), rows.filter(~held)

    def _readings(self, frame: pl.DataFrame, *, count: bool) -> pl.DataFrame:
        if self.layout.long is not None:
            wide = self._long(frame, count=count)
        else:
            columns = [frame[LINE], frame[TIME]]
            for column in self.layout.values:
                columns.extend(self._column(column, frame[cell_name(column.index)], frame[LINE]))
            wide = pl.DataFrame(columns)
            if count and self.watched:
                self._watch(frame, wide)
        return wide

    def _watch(self, frame: pl.DataFrame, wide: pl.DataFrame) -> None:
        names = [self.names[self._key(column)] for column in self.layout.values]
        number = pl.any_horizontal(pl.col(name).is_not_null() for name in names)
        held = wide.select(number.alias("held"))["held"]
        for column in self.watched:
            column.add(frame[cell_name(column.index)], frame[LINE], held)

    def _key(self, column: ValueColumn) -> str:
        return column.heading if self.layout.long is not None else str(column.index)

    def _column(self, column: ValueColumn, text: pl.Series, lines: pl.Series) -> list[pl.Series]:
        name = self.names[self._key(column)]
        read = read_column(
            text.alias(name),
            lines,
            decimal=self.layout.decimal,
            unit=column.unit,
            missing=frozenset(self.options.missing),
            causes=self.odd_cells.setdefault(name, Causes()),
        )
        if text.dtype == pl.String:
            self._check_points(text, column)
        if not read.plain:
            self._check_decimal(text, column)
        values = read.values
        if column.unit != column.canonical_unit:
            frame = pl.DataFrame({"v": values})
            # Ten decimals keep what any logger writes and drop the float dust of scaling.
            scaled = units.scale(pl.col("v"), column.unit, column.canonical_unit).round(10)
            values = frame.select(scaled.alias(name))[name]
        out = [values.alias(name), read.flags.alias(flag_column(name))]
        if read.censors is not None:
            out.append(read.censors.alias(censor_column(name)))
        return out

    def _check_decimal(self, text: pl.Series, column: ValueColumn) -> None:
        """Stop where the sample left the decimal sign open and the rest does not settle it."""
        if self.options.decimal is not None or self.layout.decimal == "comma":
            return
        odd = text.filter(text.str.contains(",", literal=True)).unique().head(500).to_list()
        if not odd:
            return
        found = decimal_evidence(odd)
        points = decimal_evidence(
            text.filter(text.str.contains(".", literal=True)).head(2000).to_list()
        ).point
        if found.comma or (found.either and not points and not self._points_elsewhere()):
            sample = next((cell for cell in odd if "," in cell), odd[0])
            raise AmbiguityError(
                f"'{sample}' has a comma, and the file does not say whether it groups thousands or is the decimal sign.",
                choices=("point", "comma"),
                remedy="Settle it with --decimal point or --decimal comma.",
                file=self.name,
                column=column.heading,
            )

    def _points_elsewhere(self) -> bool:
        """Tell whether the first rows prove that the point is the decimal sign."""
        if self._point_proven is None:
            rows = self.opened.rows[self.layout.first_line - 1 :]
            self._point_proven, _ = point_is_decimal(
                value_cells(self.layout, rows),
                self.layout.delimiter,
                highest_values(self.layout),
            )
        return self._point_proven

    def _check_points(self, text: pl.Series, column: ValueColumn) -> None:
        """Stop where 1.050 first comes after the rows that were looked at, among whole numbers."""
        settled = self.options.decimal is not None or self.layout.decimal == "comma"
        if settled or self._points_elsewhere():
            return
        dotted = text.filter(text.str.contains(".", literal=True)).head(2000).to_list()
        if not dotted:
            return
        whole = [cell for cell in (*text.head(2000).to_list(), *text.tail(2000).to_list()) if cell]
        _, sample = point_is_decimal(
            [[cell.strip() for cell in (*dotted, *whole)]],
            self.layout.delimiter,
            [highest_value(column.unit)],
        )
        if sample:
            raise AmbiguityError(
                f"'{sample}' has a point, and the file does not say whether it groups thousands or is the decimal sign.",
                choices=("point", "comma"),
                remedy="Settle it with --decimal point or --decimal comma.",
                file=self.name,
                column=column.heading,
            )

    def _long(self, frame: pl.DataFrame, *, count: bool) -> pl.DataFrame:
        long = self.layout.long
        if long is None:
            raise LogError("not a file with one reading a row.", file=self.name)
        label = pl.col(cell_name(long.label)).str.strip_chars()
        known = [column.heading for column in self.layout.values]
        left_alone = [heading for heading, _ in self.layout.unused]
        if count:
            self.refuse(
                "label not used", frame.filter(~label.is_in(known) & label.is_in(left_alone))
            )
            self.refuse("label not known", frame.filter(~label.is_in([*known, *left_alone])))
        wide: pl.DataFrame | None = None
        for column in self.layout.values:
            part = frame.filter(label == column.heading)
            if long.unit is not None and count:
                unit = pl.col(cell_name(long.unit)).str.strip_chars()
                usual = part[cell_name(long.unit)].str.strip_chars().mode().to_list()
                other = part.filter(~unit.is_in(usual[:1]))
                if other.height:
                    self.refuse("unit differs from the channel's", other)
                    part = part.filter(unit.is_in(usual[:1]))
            series = self._column(column, part[cell_name(long.value)], part[LINE])
            value = self.names[column.heading]
            table = pl.DataFrame([part[LINE], part[TIME], *series]).select(
                TIME,
                pl.col(TIME).cum_count().over(TIME).alias("_nth"),
                *(one.name for one in series),
                pl.col(LINE).alias(f"_line_{value}"),
                pl.col(value).is_not_null().cast(pl.UInt32).alias(f"_used_{value}"),
            )
            wide = (
                table
                if wide is None
                else wide.join(
                    table,
                    on=[TIME, "_nth"],
                    how="full",
                    coalesce=True,
                    maintain_order="left_right",
                )
            )
        if wide is None:
            return frame.select(LINE, TIME)
        lines = [name for name in wide.columns if name.startswith("_line_")]
        used = [name for name in wide.columns if name.startswith("_used_")]
        flags = [pl.col(name).fill_null(MISSING) for name in wide.columns if name.endswith("_flag")]
        return (
            wide.with_columns(
                pl.min_horizontal(lines).alias(LINE),
                pl.sum_horizontal(pl.col(lines).is_not_null()).cast(pl.UInt32).alias(ROWS),
                pl.sum_horizontal(used).cast(pl.UInt32).alias(USED),
                *flags,
            )
            .drop("_nth", *lines, *used)
            .sort(TIME, maintain_order=True, nulls_last=True)
        )


def _chain(held: list[Block], blocks: Iterator[Block]) -> Iterator[Block]:
    while held:
        yield held.pop(0)
    yield from blocks


def _may_be_reading(cell: str | None) -> bool:
    """Tell whether a cell can hold a reading: a number, '<' or '>', or a word for over range."""
    text = cell or ""
    return bool(re.search(r"\d", text)) or read_cell(text, "point", "").censor != PLAIN
