"""Loading guided procedures: those that come with lungwort, and those that users write.

A procedure is a TOML file. Both sorts go through the same checks; every time and range in it says
how well it is founded.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Final

from lungwort.air import units
from lungwort.air.analytes import ANALYTES
from lungwort.errors import ProcedureError, SpotError
from lungwort.spot import procedure_model as m
from lungwort.spot import tomlfile
from lungwort.spot.parse import parse_spot
from lungwort.spot.tomlfile import Mistakes, Table, near

if TYPE_CHECKING:
    from collections.abc import Mapping

    from lungwort.spot.procedure_model import Ask, Choice, Condition, Procedure, Step

DEFAULT: Final = "full-outlet-test"
"""Procedure that is followed where none is named."""

_TOP_KEYS: Final = ("format", "id", "title", "about", "cautions", "remarks", "step")
_STEP_KEYS: Final = ("id", "title", "text", "standing", "source", "entry")
_COMMON: Final = ("name", "ask", "kind", "optional", "when", "standing", "source")
_OWN_KEYS: Final[dict[str, tuple[str, ...]]] = {
    m.CONFIRM: (),
    m.WAIT: ("minutes", "device_time", "lot", "short", "longest_minutes", "long", "why"),
    m.NUMBER: (
        "unit",
        "analyte",
        "low",
        "high",
        "below",
        "above",
        "why",
        "against",
        "instrument",
        "lot",
    ),
    m.CHOOSE: ("choices", "instrument", "lot"),
    m.ROWS: ("lot",),
    m.TUBE: ("lot", "pressure", "strokes"),
    m.PERSON: (),
    m.INSTRUMENT: (),
    m.LOT: ("lot_kind", "analyte", "used_from", "expired"),
    m.WORDS: (),
}
_CHOICE_KEYS: Final = ("word", "says", "effect", "why", "reading")
_POINTS_TO: Final = {
    "instrument": m.INSTRUMENT,
    "lot": m.LOT,
    "pressure": m.NUMBER,
    "strokes": m.NUMBER,
}
_LOT_KINDS: Final = ("oil_indicator", "tube", "calibration_gas", "filter", "other")
_LONGEST_MIN: Final = 24 * 60.0
_NO_CHOICE: Final = 2
_FAR: Final = 1e9


@cache
def procedure_ids() -> tuple[str, ...]:
    """Name the procedures that come with lungwort.

    Returns
    -------
    tuple of str
        Ids in alphabetical order.
    """
    return tomlfile.shipped_ids("procedures")


def own_files(folder: Path | None) -> tuple[Path, ...]:
    """List the procedures of a user.

    Parameters
    ----------
    folder : pathlib.Path, optional
        The folder ``procedures`` of a workspace; None or a missing one holds none.

    Returns
    -------
    tuple of pathlib.Path
        In alphabetical order.
    """
    if folder is None or not folder.is_dir():
        return ()
    return tuple(sorted(folder.glob("*.toml")))


def load_procedure(id_or_path: str, folder: Path | None = None) -> Procedure:
    """Load a procedure by its id, or a user's own by its file.

    Parameters
    ----------
    id_or_path : str
        An id such as ``full-outlet-test``, or the path of a TOML file.
    folder : pathlib.Path, optional
        The folder ``procedures`` of a workspace, whose procedures have ids too.

    Returns
    -------
    Procedure
        The procedure.

    Raises
    ------
    ProcedureError
        Where it is not known, cannot be read, or has mistakes; all are named.

    Examples
    --------
    >>> load_procedure("full-outlet-test").steps[0].id
    'prepare'
    """
    if id_or_path in procedure_ids():
        return _shipped(id_or_path)
    if id_or_path.lower().endswith(".toml") or "/" in id_or_path or "\\" in id_or_path:
        return read_procedure(tomlfile.file_text(id_or_path, "procedure"), Path(id_or_path).name)
    own = {file.stem: file for file in own_files(folder)}
    if id_or_path in own:
        file = own[id_or_path]
        found = read_procedure(tomlfile.file_text(file, "procedure"), file.name)
        if found.id != id_or_path:
            raise ProcedureError(
                f"{file.name}: the file holds procedure {found.id!r}. Name the file "
                f"{found.id}.toml, or change the id."
            )
        return found
    known = (*procedure_ids(), *own)
    raise ProcedureError(
        f"procedure {id_or_path!r} is not known.{near(id_or_path, known)} Known: "
        f"{', '.join(known)}. One of your own is given by its file, like my-test.toml."
    )


@cache
def _shipped(name: str) -> Procedure:
    return read_procedure(tomlfile.shipped_text("procedures", name), f"{name}.toml", shipped=True)


def read_procedure(text: str, name: str, *, shipped: bool = False) -> Procedure:
    """Read a procedure from TOML text.

    Parameters
    ----------
    text : str
        The text.
    name : str
        Name of the file, for messages.
    shipped : bool
        Whether it is one that comes with lungwort, word for word.

    Returns
    -------
    Procedure
        The procedure.

    Raises
    ------
    ProcedureError
        Where the text has mistakes; all are named, with their lines.
    """
    top = tomlfile.opened(text, name, _TOP_KEYS)
    mistakes = top.mistakes
    own_id = top.name("id")
    if own_id in procedure_ids() and not shipped:
        top.wrong("id", f"{own_id!r} comes with lungwort. Give yours another id.")
    steps: list[Step] = []
    for number, values in enumerate(top.tables("step")):
        step = _read_step(values, number, mistakes)
        if step.id in {one.id for one in steps}:
            mistakes.add(f"step {step.id!r} stands twice. Give each its own id.")
        steps.append(step)
    if not steps:
        top.wrong("step", "is missing. Write a [[step]] for each step.")
    procedure = m.Procedure(
        id=own_id,
        title=top.text("title", required=True),
        about=top.text("about"),
        cautions=top.texts("cautions"),
        remarks=top.texts("remarks"),
        steps=tuple(steps),
        text=text,
        origin="shipped" if shipped else name,
    )
    _check_whole(procedure, mistakes)
    mistakes.raise_any()
    return procedure


def _read_step(values: Mapping[str, object], number: int, mistakes: Mistakes) -> Step:
    said = values.get("id")
    named = isinstance(said, str)
    where = f"step {said!r}" if named else f"step {number + 1}"
    table = Table(values, (str(said),) if named else (), where, mistakes)
    table.known(_STEP_KEYS)
    standing = table.standing(required=False)
    asks = tuple(
        _read_ask(one, place, table, standing) for place, one in enumerate(table.tables("entry"))
    )
    if not asks:
        table.wrong("entry", "is missing. Write a [[step.entry]] for what is to be entered.")
    return m.Step(
        id=table.name("id"),
        title=table.text("title", required=True),
        text=table.text("text", required=True),
        asks=asks,
        standing=standing,
        source=table.text("source"),
    )


def _read_ask(values: Mapping[str, object], number: int, step: Table, inherited: str) -> Ask:
    said = values.get("name")
    named = isinstance(said, str)
    where = f"{step.where}, entry {said!r}" if named else f"{step.where}, entry {number + 1}"
    names = (*step.names, str(said)) if named else step.names
    table = Table(values, names, where, step.mistakes)
    kind = table.choice("kind", m.KINDS, "")
    if "kind" not in values:
        table.wrong("kind", f"is missing. Write one of: {', '.join(m.KINDS)}.")
    table.known((*_COMMON, *_OWN_KEYS.get(kind, tuple(sum(_OWN_KEYS.values(), ())))))
    founded = any(key in values for key in ("low", "high", "minutes", "longest_minutes"))
    ask = m.Ask(
        name=table.name("name"),
        ask=table.text("ask", required=True),
        kind=kind,
        optional=table.flag("optional"),
        when=_conditions(table),
        unit=table.text("unit"),
        analyte=table.text("analyte"),
        low=table.number("low", -_FAR, _FAR, "unit of the number"),
        high=table.number("high", -_FAR, _FAR, "unit of the number"),
        below=table.choice("below", m.EFFECTS, m.REFUSE),
        above=table.choice("above", m.EFFECTS, m.REFUSE),
        why=table.text("why"),
        against=table.choice("against", m.AGAINST, ""),
        choices=_choices(table),
        minutes=table.number("minutes", 0.01, _LONGEST_MIN, "min"),
        device_time=table.choice("device_time", ("purge", "sample"), ""),
        short=table.choice("short", m.EFFECTS, m.VOID),
        longest_minutes=table.number("longest_minutes", 0.01, _LONGEST_MIN, "min"),
        long=table.choice("long", (m.WARN, m.DOUBT, m.VOID), m.WARN),
        lot_kind=table.choice("lot_kind", _LOT_KINDS, ""),
        used_from=table.text("used_from"),
        expired=table.choice("expired", m.EFFECTS, m.VOID),
        lot=table.text("lot"),
        instrument=table.text("instrument"),
        pressure=table.text("pressure"),
        strokes=table.text("strokes"),
        standing=table.standing(required=founded and not inherited, inherited=inherited),
        source=table.text("source"),
    )
    _check_ask(ask, table)
    return ask


def _conditions(table: Table) -> tuple[Condition, ...]:
    found = []
    for text in table.texts("when"):
        name, sign, word = (part.strip() for part in text.partition("="))
        if not name or not sign or not word:
            table.wrong("when", f'found {text!r}; write it like "on_air=no".')
        else:
            found.append(m.Condition(name=name, word=word))
    return tuple(found)


def _choices(table: Table) -> tuple[Choice, ...]:
    found: list[Choice] = []
    for values in table.tables("choices"):
        one = Table(values, table.names, table.where, table.mistakes)
        one.known(_CHOICE_KEYS)
        choice = m.Choice(
            word=one.text("word", required=True).lower(),
            says=one.text("says"),
            effect=one.choice("effect", m.EFFECTS, ""),
            why=one.text("why"),
            reading=one.text("reading"),
        )
        if choice.effect and not choice.why:
            one.wrong("choices", f"{choice.word!r} has an effect and no why. Say why.")
        if choice.reading:
            try:
                parse_spot(choice.reading)
            except SpotError as error:
                one.wrong("choices", f"the reading of {choice.word!r} is not understood: {error}")
        if choice.word in {other.word for other in found}:
            one.wrong("choices", f"{choice.word!r} stands twice.")
        found.append(choice)
    return tuple(found)


def _check_ask(ask: Ask, table: Table) -> None:
    if ask.kind == m.WAIT:
        if ask.minutes is None and "minutes" not in table.values:
            table.wrong("minutes", "is missing. State how long it lasts [min].")
        if ask.device_time and not ask.lot:
            table.wrong("lot", "is missing: the device of which lot tells the time?")
        longest = ask.longest_minutes
        if longest is not None and ask.minutes is not None and longest < ask.minutes:
            table.wrong("longest_minutes", f"found {longest:g}, less than the wait itself.")
    if ask.kind == m.NUMBER:
        if not ask.unit and "unit" not in table.values:
            table.wrong("unit", "is missing. State the unit of the number.")
        if ask.low is not None and ask.high is not None and ask.low > ask.high:
            table.wrong("low", f"found {ask.low:g}, above high = {ask.high:g}.")
        if (ask.low is not None or ask.high is not None) and not ask.why:
            table.wrong("why", "is missing. Say what is to be done outside the range.")
        if ask.analyte and ask.unit:
            _check_unit(ask, table)
    if ask.analyte and ask.analyte not in ANALYTES:
        table.wrong("analyte", f"{ask.analyte!r} is not known.{near(ask.analyte, ANALYTES)}")
    if ask.kind == m.CHOOSE and len(ask.choices) < _NO_CHOICE:
        table.wrong("choices", "two or more are needed.")
    if ask.kind == m.LOT and not ask.lot_kind and "lot_kind" not in table.values:
        table.wrong("lot_kind", f"is missing. Write one of: {', '.join(_LOT_KINDS)}.")
    if ask.kind in {m.ROWS, m.TUBE} and not ask.lot:
        table.wrong("lot", "is missing: name the entry that tells which lot is read.")
    if ask.kind == m.TUBE and not ask.pressure:
        table.wrong("pressure", "is missing: name the entry of the air pressure [hPa].")


def _check_unit(ask: Ask, table: Table) -> None:
    if ask.analyte not in ANALYTES:
        return
    try:
        parse_spot(f"{ask.analyte}=1 {ask.unit}")
    except SpotError as error:
        table.wrong("unit", f"{units.unit_name(ask.unit) or ask.unit!r} does not fit: {error}")


def _check_whole(procedure: Procedure, mistakes: Mistakes) -> None:
    """Check what only the order of the entries shows."""
    before: dict[str, Ask] = {}
    after = {ask.name for _, ask in procedure.asks()}
    for step, ask in procedure.asks():
        table = Table({}, (step.id, ask.name), f"step {step.id!r}, entry {ask.name!r}", mistakes)
        if ask.name in before:
            table.wrong("name", f"{ask.name!r} stands twice. Give each entry its own name.")
        for key, kind in _POINTS_TO.items():
            named = getattr(ask, key)
            if not named:
                continue
            fitting = [one.name for one in before.values() if one.kind == kind]
            if named not in fitting:
                hint = near(named, fitting) or f" There are: {', '.join(fitting) or 'none'}."
                table.wrong(key, f"no entry {named!r} of kind {kind!r} stands before it.{hint}")
        for condition in ask.when:
            _check_condition(condition, before, table)
        if ask.used_from and ask.used_from not in after:
            table.wrong("used_from", f"no entry {ask.used_from!r}.{near(ask.used_from, after)}")
        before[ask.name] = ask


def _check_condition(condition: Condition, before: Mapping[str, Ask], table: Table) -> None:
    asked = before.get(condition.name)
    if asked is None:
        hint = near(condition.name, before)
        table.wrong("when", f"no entry {condition.name!r} stands before it.{hint}")
    elif asked.kind == m.CHOOSE:
        words = [choice.word for choice in asked.choices]
        if condition.word not in words:
            table.wrong(
                "when",
                f"{condition.name!r} is never answered {condition.word!r}, only "
                f"{', '.join(words)}.",
            )
    else:
        table.wrong("when", f"{condition.name!r} is of kind {asked.kind!r}; choose is needed.")
