"""One day that could be real, judged by a plain pandas implementation as well.

The day is invented: 10 s readings, an exhaust drawn in for 40 min, a spike, a dropout, a drifting
oxygen cell. pandas is the general reference library; nothing of the package is used in it.
"""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import pytest
from tests.verdict.build_log import O2, START, limits, make_log, upper

from lungwort.limits.model import Bound, Limit
from lungwort.verdict.judge import judge

if TYPE_CHECKING:
    from lungwort.verdict.model import Verdict

ROWS = 8640


@pytest.fixture(scope="module")
def day() -> pd.DataFrame:
    """Make the day."""
    random = np.random.default_rng(20260304)
    frame = pd.DataFrame(
        {
            "co": np.round(np.abs(random.normal(0.4, 0.3, ROWS)), 1),
            "o2": np.round(random.normal(20.9, 0.05, ROWS) - np.linspace(0, 1.6, ROWS), 2),
        },
        index=pd.date_range(START, periods=ROWS, freq="10s"),
    )
    frame.loc[frame.index[3000:3240], "co"] += np.round(
        14 * np.sin(np.linspace(0, np.pi, 240)) + random.normal(0, 2, 240), 1
    )
    frame.loc[frame.index[6000], "co"] = 35.0
    frame.loc[frame.index[3100:3140], "co"] = np.nan
    frame.loc[frame.index[7000:7500], "co"] = np.nan
    frame["co"] = frame["co"].clip(lower=0).round(1)
    return frame


@pytest.fixture(scope="module")
def verdict(day: pd.DataFrame) -> Verdict:
    """Judge it with the package, split into uneven parts."""
    columns = {
        name: [None if np.isnan(value) else float(value) for value in day[name]]
        for name in ("co", "o2")
    }
    log = make_log(columns, splits=[1, 3050, 3051, 7200])
    return judge(log, limits(upper("co", 5.0), O2), block_rows=1000)


def by_pandas(series: pd.Series[float], lower: float, upper_end: float) -> pd.DataFrame:
    """Give the runs outside, one row each, in a way that shares nothing with the package."""
    outside = ((series > upper_end) | (series < lower)).astype(bool)
    times = series.index.to_series()
    seen = pd.DataFrame({"time": times[outside], "value": series[outside]})
    steps_s = np.diff(seen["time"].to_numpy()) / np.timedelta64(1, "s")
    seen["group"] = np.concatenate(([0], np.cumsum(steps_s - 10 >= 30)))
    grouped = seen.groupby("group")
    return pd.DataFrame(
        {
            "start": grouped["time"].min(),
            "end": grouped["time"].max() + pd.Timedelta("10s"),
            "low": grouped["value"].min(),
            "high": grouped["value"].max(),
            "mean": grouped["value"].mean(),
            "samples": grouped["value"].size(),
            "sum": grouped["value"].sum(),
        }
    )


@pytest.mark.parametrize(
    ("name", "limit"), [("co", upper("co", 5.0)), ("o2", O2)], ids=["co", "o2"]
)
def test_excursions_shares_and_worst(
    day: pd.DataFrame, verdict: Verdict, name: str, limit: Limit
) -> None:
    """Starts, ends, peaks, means, integrals, shares and the worst reading agree."""
    low = limit.lower.value if limit.lower else -np.inf
    high = limit.upper.value if limit.upper else np.inf
    assert isinstance(limit.upper, Bound)
    runs = by_pandas(day[name], low, high)
    found = [one for one in verdict.excursions if one.analyte == name]
    assert len(found) == len(runs) > 1
    for one, (_, run) in zip(found, runs.iterrows(), strict=True):
        assert one.start == run["start"]
        assert one.end == run["end"]
        above = one.direction == "above"
        assert one.peak == run["high" if above else "low"]
        assert one.mean == pytest.approx(run["mean"], rel=1e-9)
        assert one.samples == run["samples"]
        bound = high if above else low
        distance = abs(run["sum"] - bound * run["samples"])
        assert one.integral == pytest.approx(distance * 10 / 3600, rel=1e-9)
    usable = day[name].notna()
    outside = (day[name] > high) | (day[name] < low)
    finding = verdict.finding(name)
    assert finding.verdict == "does_not_conform"
    assert finding.coverage is not None
    # The last reading before a hole stands for one and a half intervals: 5 s a hole.
    holes = int((usable & ~usable.shift(-1, fill_value=True)).sum())
    assert finding.coverage.share == pytest.approx(usable.mean(), abs=1e-12)
    assert holes == (2 if name == "co" else 0)
    assert finding.share_outside == pytest.approx(outside.sum() / usable.sum(), rel=1e-9)
    assert finding.worst is not None
    worst = day[name].max() if name == "co" else day[name].min()
    assert finding.worst.value == worst
    assert finding.worst.time == (day[name].idxmax() if name == "co" else day[name].idxmin())


def test_hole_in_the_excursion_is_told(verdict: Verdict) -> None:
    """Readings missing amid the exhaust part it in two, and both say so."""
    cut = [one for one in verdict.excursions if one.analyte == "co" and one.ended_by == "data_gap"]
    assert cut
    assert cut[0].may_have_lasted is not None
    assert cut[0].may_have_lasted == START + timedelta(seconds=31400)
