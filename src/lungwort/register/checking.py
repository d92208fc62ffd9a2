"""What a record must be before it is recorded: whole, in UTC, and of things that are there."""

from __future__ import annotations

import re
import unicodedata
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any, Final, TypeVar, get_args

import attrs

from lungwort.errors import RegisterError
from lungwort.register import model
from lungwort.register.convert import field_types, from_plain, is_tuple, to_plain

if TYPE_CHECKING:
    from collections.abc import Iterator

    from lungwort.register.model import Record

R = TypeVar("R", bound="Record")

REFERENCES: Final = {
    "site_id": "site",
    "supply_id": "supply",
    "stage_id": "stage",
    "outlet_id": "outlet",
    "instrument_id": "instrument",
    "lot_id": "lot",
    "hand_test_id": "hand_test",
    "hand_test_ids": "hand_test",
    "log_import_ids": "log_import",
    "verdict_id": "verdict",
    "verdict_ids": "verdict",
    "finding_id": "finding",
    "finding_ids": "finding",
    "by_id": "person",
    "tester_id": "person",
    "second_person_id": "person",
    "issued_by_id": "person",
    "approved_by_id": "person",
    "asked_by_id": "person",
    "decided_by_id": "person",
    "certificate_id": "certificate",
}
"""Of which kind the thing is that a field names, in records and in their parts."""

CHOICES: Final[dict[tuple[str, str], tuple[str, ...]]] = {
    ("supply", "kind"): model.SUPPLY_KINDS,
    ("stage", "kind"): model.STAGE_KINDS,
    ("lot", "kind"): model.LOT_KINDS,
    ("event", "kind"): model.EVENT_KINDS,
    ("calibration", "kind"): (model.CALIBRATION, model.BUMP_TEST),
    ("hand_test", "state"): (model.DONE, model.ABORTED, model.VOID),
    ("photo", "media_type"): model.PHOTO_TYPES,
    ("approval", "state"): model.APPROVAL_STATES,
    ("action", "kind"): model.ACTION_KINDS,
    ("supply_state", "state"): model.SUPPLY_STATES,
    ("verdict", "overall"): ("conforms", "does_not_conform", "not_proven"),
}
"""The words that a field may hold."""

_ID: Final = re.compile(r"[a-z-]+-[a-z2-7]{16}")
_DIGEST: Final = re.compile(r"[0-9a-f]{64}")


def words(kind: str) -> str:
    """Call a kind in words.

    Parameters
    ----------
    kind : str
        Such as ``hand_test``.

    Returns
    -------
    str
        Such as ``hand test``.
    """
    return kind.replace("_", " ")


def a_kind(kind: str) -> str:
    """Call one thing of a kind in words.

    Parameters
    ----------
    kind : str
        Such as ``outlet``.

    Returns
    -------
    str
        Such as ``an outlet``.
    """
    return f"{'an' if kind[0] in 'aeiou' else 'a'} {words(kind)}"


def id_prefix(kind: str) -> str:
    """Give what the ids of a kind begin with.

    Parameters
    ----------
    kind : str
        Such as ``hand_test``.

    Returns
    -------
    str
        Such as ``hand-test``.
    """
    return kind.replace("_", "-")


def is_id(text: str) -> bool:
    """Say whether a text has the form of an id.

    Parameters
    ----------
    text : str
        A name or an id.

    Returns
    -------
    bool
        True for such as ``supply-7k3m2q4wd4xa5bcd``.
    """
    return _ID.fullmatch(text) is not None


def name_key(name: str) -> str:
    """Give a name as it is looked up.

    Parameters
    ----------
    name : str
        As written.

    Returns
    -------
    str
        Without regard to capitals and to how accents are encoded.
    """
    return unicodedata.normalize("NFC", unicodedata.normalize("NFC", name).casefold())


def in_order(record: R) -> R:
    """Bring a record into the form in which it is recorded, and refuse what cannot be.

    Parameters
    ----------
    record : Record
        As it was put together.

    Returns
    -------
    Record
        With times in UTC.

    Raises
    ------
    RegisterError
        Where a value is of the wrong kind, a time has no zone, a word is none of those allowed,
        a name is empty, or a text holds a character that cannot be kept.
    """
    kind = type(record)
    if model.KINDS.get(kind.KIND) is not kind:
        raise RegisterError(f"{kind.__name__} is no kind of record.")
    record = _utc(record)
    what = words(kind.KIND)
    plain = to_plain(record)
    for where, text in _texts(plain):
        _check_text(text, f"{where} of the {what}")
    # Read back and compared: so a value of the wrong kind cannot slip in.
    back = from_plain(kind, {**plain, "seq": record.seq})
    if back != record:
        wrong = [
            f"{one.name} is {getattr(record, one.name)!r}"
            for one in attrs.fields(kind)
            if getattr(back, one.name) != getattr(record, one.name)
        ]
        raise RegisterError(
            f"The {what} cannot be recorded as it is: {'; '.join(wrong)}, which is of the wrong kind."
        )
    for field, value in plain.items():
        allowed = CHOICES.get((kind.KIND, field))
        if allowed is not None and value not in allowed:
            raise RegisterError(
                f"The {field} of the {what} is {value!r}. Give one of: {', '.join(allowed)}."
            )
        if field.endswith("_sha256") and value and not _DIGEST.fullmatch(value):
            raise RegisterError(
                f"The {field} of the {what} is {value!r}, which is no SHA-256 digest in lower-case "
                "hexadecimal."
            )
    _check_name(record)
    return record


def references(record: Record) -> Iterator[tuple[str, str, str]]:
    """List the things that a record names.

    Parameters
    ----------
    record : Record
        Of any kind.

    Yields
    ------
    tuple of (str, str, str)
        Field, kind of thing, id.
    """
    yield from _references(record)


def naming_fields(kind: type[Record], named: str) -> list[tuple[str, bool]]:
    """List the fields of a kind that may name a thing of another.

    Parameters
    ----------
    kind : type
        A class of `lungwort.register.model.KINDS`.
    named : str
        The other kind.

    Returns
    -------
    list of (str, bool)
        Field, and whether it is a tuple of ids or of parts that hold one.
    """
    found = []
    for field, shape in field_types(kind).items():
        if REFERENCES.get(field) == named:
            found.append((field, is_tuple(shape)))
        elif is_tuple(shape):
            inner = get_args(shape)[0]
            if attrs.has(inner) and any(REFERENCES.get(one) == named for one in field_types(inner)):
                found.append((field, True))
    return found


def _references(part: Any) -> Iterator[tuple[str, str, str]]:  # noqa: ANN401 - a record or a part
    for one in attrs.fields(type(part)):
        value = getattr(part, one.name)
        kind = REFERENCES.get(one.name)
        if kind is not None:
            for named in value if isinstance(value, tuple) else (value,):
                if named is not None:
                    yield one.name, kind, named
        elif isinstance(value, tuple):
            for inner in value:
                if attrs.has(type(inner)):
                    yield from _references(inner)


def _utc(value: Any) -> Any:  # noqa: ANN401 - a record, a part or a value of one
    if isinstance(value, datetime):
        return value if value.utcoffset() is None else value.astimezone(UTC)
    if isinstance(value, tuple):
        return tuple(_utc(one) for one in value)
    if attrs.has(type(value)):
        return attrs.evolve(
            value,
            **{one.name: _utc(getattr(value, one.name)) for one in attrs.fields(type(value))},
        )
    return value


def _texts(plain: Any, where: str = "") -> Iterator[tuple[str, str]]:  # noqa: ANN401 - JSON
    if isinstance(plain, str):
        yield where, plain
    elif isinstance(plain, dict):
        for name, one in plain.items():
            yield from _texts(one, f"{where}: {name}" if where else name)
    elif isinstance(plain, list):
        for one in plain:
            yield from _texts(one, where)


def _check_text(text: str, where: str) -> None:
    for character in text:
        if character == "\0" or "\ud800" <= character <= "\udfff":
            raise RegisterError(
                f"The {where} holds a character that cannot be kept (U+{ord(character):04X}). "
                "Leave it out."
            )


def _check_name(record: Record) -> None:
    field = record.NAME or ("name" if hasattr(record, "name") else "")
    if not field:
        return
    name, what = getattr(record, field), words(record.KIND)
    if not name.strip():
        raise RegisterError(f"The {field} of the {what} is empty. Give one.")
    if name != name.strip() or not name.isprintable():
        raise RegisterError(
            f"The {field} of the {what}, {name!r}, begins or ends with a blank or holds a character "
            "that cannot be seen. Give it without."
        )
    if is_id(name):
        raise RegisterError(
            f"The {field} of the {what}, {name!r}, has the form of an id. Give another one."
        )
