"""Test forms of the invented year, filled in as a person at the outlet would."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from lungwort.demo import layouts

if TYPE_CHECKING:
    from datetime import date
    from pathlib import Path

_PROCEDURES: Final = {False: "full-outlet-test", True: "charging-outlet-test"}


def write_form(
    path: Path,
    day: date,
    *,
    outlet: str,
    tester: str,
    second_person: str,
    instrument: str,
    lot: str,
    charging: bool = False,
    worn: bool = False,
) -> Path:
    """Write a form of a full test in which nothing was wrong, as 'lungwort test' takes it.

    Parameters
    ----------
    path : Path
        The file, in a folder that exists.
    day : date
        Day of the test.
    outlet, tester, second_person, instrument, lot : str
        Names on record.
    charging : bool
        Whether it is a charging outlet.
    worn : bool
        Whether hoods are worn at the outlet, so that pressure and flow were read while all drew.

    Returns
    -------
    Path
        The file.

    Raises
    ------
    OutputError
        Where it cannot be written.
    """
    lines = [
        f"# {layouts.INVENTED}",
        "format = 1",
        f'procedure = "{_PROCEDURES[charging]}"',
        f'outlet = "{outlet}"',
        f'tester = "{tester}"',
        f'started = "{day:%Y-%m-%d} 11:32"',
        "",
    ]
    entries: list[tuple[str, str, str]] = [
        ("instrument", instrument, "11:33"),
        ("fresh-air-o2", "20.9", "11:35"),
    ]
    if charging:
        entries += [
            ("charging-pressure", "290", "11:36"),
            ("regulator", "fits", "11:36"),
            ("filling-rate", "8", "11:36"),
            ("warm", "warm", "11:37"),
        ]
    entries += [
        ("line-pressure", "7.1" if not charging else "6.5", "11:37"),
        ("connected", "yes", "11:39"),
        ("on-air", "no", "11:40"),
        ("settling", "11:40", "12:10"),
        ("purging", "12:10", "12:11"),
        ("indicator-lot", lot, "12:12"),
        ("seal", "intact", "12:12"),
        ("indicator-flow", "as stated", "12:13"),
        ("oil-sample", "12:14", "12:19"),
        ("rows", "nothing, nothing, nothing", "12:20"),
        *((name, "-", "12:21") for name in ("o2", "co", "co2", "moisture")),
        ("liquid-water", "none", "12:22"),
        ("second-person", second_person, "12:23"),
        ("odour", "none", "12:24"),
    ]
    if not charging:
        entries += [
            ("drawing-pressure", "6.6" if worn else "-", "12:26"),
            ("drawing-flow", "186" if worn else "-", "12:27"),
        ]
    entries += [("remarks", "-", "12:28")]
    for name, first, second in entries:
        wait = name in {"settling", "purging", "oil-sample"}
        keys = ("begin", "end") if wait else ("given", "time")
        lines += [
            "[[entry]]",
            f'name = "{name}"',
            f'{keys[0]} = "{first}"',
            f'{keys[1]} = "{second}"',
            "",
        ]
    layouts.write_text(path, "\n".join(lines))
    return path
