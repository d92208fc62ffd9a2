"""Recompute the whole record, against heads, certificates and packs that were kept elsewhere."""

from __future__ import annotations

import hashlib
import re
from typing import TYPE_CHECKING, Any, Final

from attrs import evolve, frozen

from lungwort.errors import InputError, RegisterError
from lungwort.jobs.opening import opened
from lungwort.register.model import Certificate, TreeHead

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable
    from pathlib import Path

    from lungwort.jobs.opening import Where
    from lungwort.register.verify import Checked, Problem
    from lungwort.register.workspace import Workspace

FITS: Final = 0
DOES_NOT_FIT: Final = 1

SHOWS_NOT: Final = (
    "A record that was put back to an earlier state together with its heads.txt, or made anew as a "
    "whole, fits in itself. Only a head, a certificate or a pack that was kept elsewhere shows it: "
    "give it with --head, --certificate or --pack."
)

_HEAD: Final = re.compile(r"(\d{1,15}):([0-9a-f]{64})")


@frozen
class Outside:
    """What was kept elsewhere and is to be compared.

    Parameters
    ----------
    heads : tuple of str
        Heads as typed: ``SIZE:ROOT``.
    certificates, packs : tuple of Path
        Files.
    """

    heads: tuple[str, ...] = ()
    certificates: tuple[Path, ...] = ()
    packs: tuple[Path, ...] = ()


@frozen
class Outcome:
    """What was found.

    Parameters
    ----------
    name, folder : str
        Which workspace.
    checked : Checked
        Counts, head, problems and remarks.
    compared : tuple of str
        What was kept elsewhere and was compared.
    """

    name: str
    folder: str
    checked: Checked
    compared: tuple[str, ...]

    @property
    def exit_code(self) -> int:
        """0 where everything fits, else 1."""
        return DOES_NOT_FIT if self.checked.problems else FITS

    @property
    def head(self) -> str:
        """The head to write down: ``SIZE:ROOT``."""
        return f"{self.checked.head.size}:{self.checked.head.root}"


def verify(
    where: Where,
    outside: Outside = Outside(),
    *,
    progress: Callable[[int, int], None] | None = None,
) -> Outcome:
    """Recompute the whole record of a workspace. Nothing in it is changed.

    Parameters
    ----------
    where : Where
        Which workspace.
    outside : Outside
        What was kept elsewhere.
    progress : callable, optional
        Called with how much is done and how much there is.

    Returns
    -------
    Outcome
        What was found.

    Raises
    ------
    InputError
        Where a head is no head, or a certificate or pack cannot be read.
    WorkspaceError
        Where there is no workspace, or its database cannot be reached.
    """
    from lungwort.jobs.judging import rejudge  # noqa: PLC0415 - keeps --help instant
    from lungwort.register.verify import verify as recompute  # noqa: PLC0415 - keeps --help instant

    heads = [parse_head(text) for text in outside.heads]
    compared = [f"head {head.size}:{head.root}" for head in heads]
    problems: list[Problem] = []
    papers = []
    for path in outside.certificates:
        head, digest = _of_certificate(path)
        heads.append(head)
        papers.append((path.name, digest))
        compared.append(f"certificate {path.name}, which shows the head {head.size}:{head.root}")
    for path in outside.packs:
        head, found = _of_pack(path)
        heads.append(head)
        problems += found
        compared.append(f"pack {path.name}, which stands under the head {head.size}:{head.root}")
    with opened(where, read_only=True) as workspace:
        checked = recompute(
            workspace,
            known_heads=heads,
            rejudge=lambda record: rejudge(workspace, record),
            progress=progress,
        )
        problems += _of_papers(workspace, papers)
        return Outcome(
            name=workspace.name,
            folder=str(workspace.folder),
            checked=evolve(checked, problems=(*checked.problems, *problems)),
            compared=tuple(compared),
        )


@frozen(kw_only=True)
class Alone:
    """What was found of one certificate or pack by itself, without the record.

    Parameters
    ----------
    name, kind : str
        Name of the file; ``certificate`` or ``pack``.
    title : str
        What it says it is of; empty for a certificate.
    head : str
        The head that it shows, ``SIZE:ROOT``.
    counts : tuple of (str, int)
        What it holds [1].
    problems : tuple of (str, str)
        Where something does not fit, and what.
    remarks, proves, proves_not : tuple of str
        What is to be minded, what is proved, and what is not.
    """

    name: str
    kind: str
    title: str
    head: str
    counts: tuple[tuple[str, int], ...]
    problems: tuple[tuple[str, str], ...]
    remarks: tuple[str, ...]
    proves: tuple[str, ...]
    proves_not: tuple[str, ...]


CERTIFICATE_PROVES: Final = (
    "The result inside the paper is the one whose digest its code shows: the two belong together."
)
CERTIFICATE_PROVES_NOT: Final = (
    (
        "That the paper is genuine. Anyone can make a paper with a code that fits it: only the record, "
        "or a pack from it, shows that this certificate was issued."
    ),
    "That it was not voided since, or that the air is fit to breathe now.",
)


def check_alone(outside: Outside) -> tuple[Alone, ...]:
    """Check certificates and packs by themselves, of whatever workspace; nothing in them is run.

    Parameters
    ----------
    outside : Outside
        The files, and heads that were kept elsewhere: packs must go on from them.

    Returns
    -------
    tuple of Alone
        One a file, packs first.

    Raises
    ------
    InputError
        Where nothing was given, a head is no head, or a file is neither certificate nor pack.
    """
    from lungwort.paper import verify_pack  # noqa: PLC0415 - only here
    from lungwort.register.papers import carries, code_of  # noqa: PLC0415 - only here

    if not outside.packs and not outside.certificates:
        raise InputError("Nothing was given to be checked. Give a certificate or a pack.")
    heads = [parse_head(text) for text in outside.heads]
    found = []
    for path in outside.packs:
        report = verify_pack.check(path, [(head.size, head.root) for head in heads])
        if not report.root:
            said = "; ".join(f"{where}: {what}" for where, what in report.problems[:1])
            raise InputError(f"{path.name} is no evidence pack that can be read ({said}).")
        found.append(
            Alone(
                name=path.name,
                kind="pack",
                title=report.title,
                head=f"{report.size}:{report.root}",
                counts=tuple(report.counts.items()),
                problems=tuple(report.problems),
                remarks=tuple(report.remarks),
                proves=() if report.problems else verify_pack.PROVES,
                proves_not=verify_pack.PROVES_NOT,
            )
        )
    for path in outside.certificates:
        content = _read(path, "certificate")
        code = code_of(content)
        if code is None:
            raise InputError(
                f"{path.name} shows no head that can be read from the file: it is no certificate of "
                "lungwort as it was issued."
            )
        digest, size, root = code
        fits = carries(content, digest)
        wrong = "The result inside the paper is not the one that its code names: it was altered."
        found.append(
            Alone(
                name=path.name,
                kind="certificate",
                title="",
                head=f"{size}:{root}",
                counts=(),
                problems=() if fits else (("result", wrong),),
                remarks=(),
                proves=(CERTIFICATE_PROVES,) if fits else (),
                proves_not=CERTIFICATE_PROVES_NOT,
            )
        )
    return tuple(found)


def parse_head(text: str) -> TreeHead:
    """Read a head as it is typed.

    Parameters
    ----------
    text : str
        ``SIZE:ROOT``.

    Returns
    -------
    TreeHead
        The head.

    Raises
    ------
    InputError
        Where it is none.

    Examples
    --------
    >>> parse_head("12:" + "AB" * 32).size
    12
    """
    match = _HEAD.fullmatch(text.strip().lower())
    if match is None:
        raise InputError(
            f"{text!r} is no head. Give it as SIZE:ROOT, such as 412: and the 64 digits and letters "
            "that stand on the certificate."
        )
    return TreeHead(size=int(match[1]), root=match[2])


def as_json(outcome: Outcome) -> dict[str, Any]:
    """Bring what was found to plain JSON values.

    Parameters
    ----------
    outcome : Outcome
        What was found.

    Returns
    -------
    dict
        One JSON object.
    """
    checked = outcome.checked
    return {
        "workspace": outcome.name,
        "folder": outcome.folder,
        "fits": not checked.problems,
        "head": {"size": checked.head.size, "root": checked.head.root},
        "checked": {
            "entries": checked.entries,
            "records": checked.records,
            "files": checked.files,
            "parts": checked.parts,
            "certificates": checked.certificates,
            "verdicts": checked.verdicts,
        },
        "compared": list(outcome.compared),
        "problems": [{"where": one.where, "what": one.what} for one in checked.problems],
        "remarks": list(checked.remarks),
    }


def _read(path: Path, what: str) -> bytes:
    try:
        return path.read_bytes()
    except OSError as error:
        raise InputError(
            f"The {what} {path} cannot be read ({error.strerror or error}). Check the path."
        ) from error


def _of_certificate(path: Path) -> tuple[TreeHead, str]:
    from lungwort.register.papers import code_of  # noqa: PLC0415 - only here

    content = _read(path, "certificate")
    code = code_of(content)
    if code is None:
        raise InputError(
            f"{path} shows no head that can be read from the file: it is no certificate of lungwort "
            "as it was issued. Give the head that is printed on it with --head SIZE:ROOT."
        )
    return TreeHead(code[1], code[2]), hashlib.sha256(content).hexdigest()


def _of_pack(path: Path) -> tuple[TreeHead, list[Problem]]:
    from lungwort.paper import verify_pack  # noqa: PLC0415 - only here
    from lungwort.register.verify import Problem  # noqa: PLC0415 - keeps --help instant

    if not path.exists():
        raise InputError(f"The pack {path} is not there. Check the path.")
    report = verify_pack.check(path)
    if not report.root:
        said = "; ".join(f"{where}: {what}" for where, what in report.problems[:1])
        raise InputError(f"{path} is no evidence pack that can be read ({said}).")
    problems = [Problem(f"pack {path.name}, {where}", what) for where, what in report.problems]
    return TreeHead(report.size, report.root), problems


def _of_papers(workspace: Workspace, papers: Iterable[tuple[str, str]]) -> list[Problem]:
    from lungwort.register.verify import Problem  # noqa: PLC0415 - keeps --help instant

    given = list(papers)
    if not given:
        return []
    try:
        known = {one.pdf_sha256 for one in workspace.register.rows(Certificate)}
    except RegisterError:
        # A table that cannot be read is among the problems already.
        known = set()
    return [
        Problem(
            f"certificate {name}",
            f"No certificate on record has this paper (SHA-256 {digest}): the paper was altered or "
            "signed after it was issued, or the record was.",
        )
        for name, digest in given
        if digest not in known
    ]
