"""Workplace exposure limits, against what the documents say."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from lungwort.errors import ExposureError, LimitSetError
from lungwort.wearers.averages import Course
from lungwort.wearers.exposure_limits import (
    IDLH,
    exposure_limits,
    held,
    high_elsewhere,
    read_idlh,
    shipped_ids,
    silent_on,
    strictest,
)

# Carbon monoxide [ppm] with the standing of each: EH40/2005 (from memory); Directive 2004/37/EC by
# 2022/431, ECHA (confirmed); OSHA CH_225610 (confirmed); NIOSH 630080 (confirmed, IDLH from memory).
CO = {
    ("uk-eh40-2020", "8 h"): (20, "from memory"),
    ("uk-eh40-2020", "15 min"): (100, "from memory"),
    ("eu-exposure-limits", "8 h"): (20, "confirmed"),
    ("eu-exposure-limits", "15 min"): (100, "confirmed"),
    ("osha-pel", "8 h"): (50, "confirmed"),
    ("niosh-rel", "8 h"): (35, "confirmed"),
    ("niosh-rel", "any reading"): (200, "confirmed"),
    ("niosh-idlh", "IDLH"): (1200, "from memory"),
}


def test_carbon_monoxide() -> None:
    """Values and standings of all that comes with lungwort."""
    found = {
        (one.set_id, one.averaging): (one.upper, one.standing)
        for one in exposure_limits()
        if one.analyte == "co"
    }
    assert found == CO


def test_immediately_dangerous() -> None:
    """NIOSH pages 124389, 10102439, 7446095, 8012951 (confirmed); 10102440 now 13 ppm (from memory)."""
    found = {one.analyte: one.upper for one in exposure_limits() if one.averaging == IDLH}
    assert found == {
        "co": 1200,
        "co2": 40_000,
        "no": 100,
        "no2": 13,
        "so2": 100,
        "h2s": 100,
        "oil": 2500,
    }


def test_choice() -> None:
    """Who names a set gets that one alone, and always what is immediately dangerous."""
    found = exposure_limits(["osha-pel"])
    assert {one.set_id for one in found} == {"osha-pel", "niosh-idlh"}
    assert set(shipped_ids()) == {one.set_id for one in exposure_limits()}


def test_strictest() -> None:
    """Of carbon monoxide over 8 h the 20 ppm of two documents are the lowest."""
    found = strictest(one for one in exposure_limits() if one.analyte == "co")
    assert {(one.set_id, one.averaging) for one in found} == {
        ("uk-eh40-2020", "8 h"),
        ("eu-exposure-limits", "8 h"),
        ("uk-eh40-2020", "15 min"),
        ("eu-exposure-limits", "15 min"),
        ("niosh-rel", "any reading"),
        ("niosh-idlh", "IDLH"),
    }


def _flat(level: float, hours: float) -> Course:
    no = np.zeros(1, dtype=np.bool_)
    values = np.array([level])
    return Course(np.array([0.0, hours * 3600]), values, values, no, no)


def _exceeded(level: float, hours: float) -> set[tuple[str, str]]:
    limits = [one for one in exposure_limits() if one.analyte == "co"]
    return {
        (one.limit.set_id, one.limit.averaging)
        for one in held(_flat(level, hours), limits)
        if one.exceeded
    }


def test_on_the_limit_is_not_above() -> None:
    """The limits may be reached, not exceeded: 20 ppm for 8 h, 100 ppm for 15 min (by hand)."""
    assert _exceeded(20.0, 8.0) == set()
    assert _exceeded(100.0, 0.25) == set()
    assert _exceeded(20.01, 8.0) == {("uk-eh40-2020", "8 h"), ("eu-exposure-limits", "8 h")}
    assert _exceeded(100.01, 0.25) == {("uk-eh40-2020", "15 min"), ("eu-exposure-limits", "15 min")}


def test_everything_is_exceeded() -> None:
    """1201 ppm for an hour is above all of them: 150 ppm over 8 h (by hand)."""
    assert _exceeded(1201.0, 1.0) == set(CO)


def test_refuses_limits_for_breathing_air() -> None:
    """A set for the air that is supplied says nothing of what a person may have breathed."""
    with pytest.raises(ExposureError, match="not for 'workplace exposure'"):
        exposure_limits(["en12021-2014-airline"])
    with pytest.raises(LimitSetError, match="not known"):
        exposure_limits(["uk-eh41"])


def test_own_set(tmp_path: Path) -> None:
    """A set of the user's own is taken; a limit that is no upper limit is refused."""
    file = tmp_path / "own.toml"
    text = (
        'format = 1\nid = "own"\ntitle = "Own"\ndocument = "Site rule"\nedition = "1"\n'
        'use = "workplace exposure"\nreference_temperature_c = 20\nreference_pressure_kpa = 101.325\n'
        '[[limit]]\nkey = "co_8h"\nanalyte = "co"\nunit = "ppm"\nupper = "<= 10"\n'
        'averaging = "8 h"\nstatus = "from memory"\nsource = "site rule 7"\n'
    )
    file.write_text(text, encoding="utf-8")
    assert exposure_limits([str(file)])[0].upper == 10.0
    assert not held(_flat(10.0, 8.0), exposure_limits([str(file)])[:1])[0].exceeded
    file.write_text(text.replace("<= 10", "< 10"), encoding="utf-8")
    assert held(_flat(10.0, 8.0), exposure_limits([str(file)])[:1])[0].exceeded
    file.write_text(text.replace('upper = "<= 10"', 'lower = ">= 10"'), encoding="utf-8")
    with pytest.raises(ExposureError, match="no upper limit"):
        exposure_limits([str(file)])


def test_a_limit_in_mg_m3_is_brought_to_the_unit_of_the_readings(tmp_path: Path) -> None:
    """7 mg/m3 of hydrogen sulphide at 20 °C are 4.94 ppm (1.4168 mg/m3 a ppm, computed from R).

    6 ppm are beyond it, though 6 is less than 7.
    """
    file = tmp_path / "own.toml"
    file.write_text(
        'format = 1\nid = "own"\ntitle = "Own"\ndocument = "Site rule"\nedition = "1"\n'
        'use = "workplace exposure"\nreference_temperature_c = 20\nreference_pressure_kpa = 101.325\n'
        '[[limit]]\nkey = "h2s_8h"\nanalyte = "h2s"\nunit = "mg/m3"\nupper = "<= 7"\n'
        'averaging = "8 h"\nstatus = "from memory"\nsource = "site rule 7"\n',
        encoding="utf-8",
    )
    limit = exposure_limits([str(file)])[0]

    assert limit.unit == "ppm"
    assert limit.upper == pytest.approx(7 / 1.4168, rel=1e-4)
    course = _flat(6.0, 8.0)
    assert held(course, [limit])[0].exceeded


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("format = 1", "id"),
        ('format = 1\nid = "x"\ndocument = "y"', "at least one"),
        (
            'format = 1\nid = "x"\ndocument = "y"\n[[limit]]\nanalyte = "co"\nabove = -1\nunit = "ppm"',
            "allowed is",
        ),
        (
            'format = 1\nid = "x"\ndocument = "y"\n[[limit]]\nanalyte = "co"\nabove = 1\nunit = "ppm"',
            "standing",
        ),
        ('format = 1\nid = "x"\ndocument = "y"\n[[limit]]\nanalite = "co"', "not known"),
    ],
)
def test_refuses_mistakes(text: str, said: str) -> None:
    """Mistakes in the file are named."""
    with pytest.raises(ExposureError, match=said):
        read_idlh(text, "x.toml")


def _an_hour(level: float) -> Course:
    no = np.zeros(1, dtype=np.bool_)
    return Course(np.array([0.0, 3600.0]), np.array([level]), np.array([level]), no, no)


def test_sets_that_are_silent() -> None:
    """EH40 as shipped holds no limit over a time for oil mist; an IDLH alone clears nothing."""
    chosen = exposure_limits(("uk-eh40-2020",))
    assert silent_on(chosen, ("co", "oil")) == ("oil",)
    assert silent_on(exposure_limits(), ("co", "oil")) == ()


def test_high_by_a_set_that_was_not_chosen() -> None:
    """NIOSH: mineral oil mist, short term 10 mg/m3 (NIOSH pages, 8012951, confirmed)."""
    others = exposure_limits(("niosh-rel",))
    (said,) = high_elsewhere({"oil": _an_hour(52.5)}, others)
    assert said.startswith("OIL: 52.5 mg/m3 over 15 min lies above 10 of NIOSH")
    assert "Choose that set too" in said
    assert high_elsewhere({"oil": _an_hour(1.0)}, others) == ()
    (ceiling,) = high_elsewhere({"co": _an_hour(1000.0)}, others)
    assert "in one reading" in ceiling
