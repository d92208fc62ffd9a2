"""Mann-Kendall against pymannkendall, scipy and published cases."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pymannkendall
import pytest
from scipy import stats

from lungwort.errors import RangeError
from lungwort.insight import mann_kendall as mk
from lungwort.insight.mann_kendall import mann_kendall

RISING = [1.0, 2.3, 3.1, 4.5, 5.2, 6.8, 7.1, 8.9, 9.5, 10.2]
NEARLY = [1.1, 1.0, 1.3, 1.2, 1.4, 1.6, 1.5, 1.9, 1.8, 2.2, 2.1, 2.6]
TIES = [2.0, 2, 2, 3, 2, 3, 3, 3, 4, 3]


def memory_noise(rng: np.random.Generator, n: int, memory: float) -> np.ndarray:
    """Noise of which a share stays from value to value, with a spread of 1."""
    fresh = rng.standard_normal(n + 100)
    made = fresh.copy()
    for k in range(1, n + 100):
        made[k] = memory * made[k - 1] + fresh[k]
    return np.asarray(made[100:] * math.sqrt(1 - memory**2))


# --- from the source ------------------------------------------------------------------------------


def test_the_documented_series() -> None:
    """Docs.rs, u-analytics mann_kendall_test: p < 0.01 and tau > 0.8 (confirmed).

    S 45, variance 125, z 3.93548 and p 8.303e-5 were computed from the formulas.
    """
    found = mann_kendall(np.array(RISING))
    assert found.p < 0.01
    assert found.tau > 0.8
    assert (found.score, found.variance) == (45, 125.0)
    assert found.z == pytest.approx(3.93548, abs=5e-6)
    assert found.p == pytest.approx(8.303e-5, rel=1e-3)


@pytest.mark.parametrize(
    ("values", "score", "variance", "z", "p"),
    [
        (NEARLY, 56, 212.667, 3.77149, 1.6228e-4),
        (TIES, 25, 99.6667, 2.40401, 0.016216),
    ],
)
def test_series_with_inversions_and_ties(
    values: list[float], score: int, variance: float, z: float, p: float
) -> None:
    """Computed from the formulas of Mann (1945) and Kendall (1975), independently of this code."""
    found = mann_kendall(np.array(values))
    assert found.score == score
    assert found.variance == pytest.approx(variance, abs=5e-4)
    assert found.z == pytest.approx(z, abs=5e-6)
    assert found.p == pytest.approx(p, rel=1e-4)


# --- against reference libraries ------------------------------------------------------------------

SERIES = [
    RISING,
    NEARLY,
    TIES,
    list(np.round(np.random.default_rng(5).normal(size=40) + 0.02 * np.arange(40), 1)),
    list(memory_noise(np.random.default_rng(6), 120, 0.6)),
    list(-np.arange(60.0) + 8 * memory_noise(np.random.default_rng(7), 60, 0.8)),
]
PAIRS: list[tuple[mk.Correction, Any]] = [
    (mk.NONE, pymannkendall.original_test),
    (mk.HAMED_RAO, pymannkendall.hamed_rao_modification_test),
    (mk.YUE_WANG, pymannkendall.yue_wang_modification_test),
]


@pytest.mark.parametrize("values", SERIES, ids=range(len(SERIES)))
@pytest.mark.parametrize(("correction", "reference"), PAIRS, ids=[one for one, _ in PAIRS])
def test_equals_pymannkendall(
    values: list[float], correction: mk.Correction, reference: Any
) -> None:
    """Pymannkendall 1.4.3 (M. Hussain and I. Mahmud, JOSS 4(39), 1556, 2019)."""
    found = mann_kendall(np.array(values), correction=correction)
    with np.errstate(invalid="ignore"):
        wanted = reference(values)
    assert found.score == wanted.s
    assert found.variance == pytest.approx(wanted.var_s, rel=1e-9)
    assert found.tau == pytest.approx(wanted.Tau, rel=1e-9)
    if wanted.var_s > 0:
        assert found.z == pytest.approx(wanted.z, rel=1e-9, abs=1e-9)
        assert found.p == pytest.approx(wanted.p, abs=1e-9)
    else:
        # There the reference gives NaN: nothing is told, so nothing is claimed.
        assert found.p == 1.0


@pytest.mark.parametrize("values", SERIES[3:], ids=["ties", "memory", "falling"])
def test_trend_free_series_equals_pymannkendall(values: list[float]) -> None:
    """Pymannkendall 1.4.3, trend_free_pre_whitening_modification_test."""
    found = mann_kendall(mk.trend_free(np.array(values)))
    wanted = pymannkendall.trend_free_pre_whitening_modification_test(values)
    assert found.score == wanted.s
    assert found.p == pytest.approx(wanted.p, abs=1e-9)


@pytest.mark.parametrize("values", [NEARLY, SERIES[4], SERIES[5]], ids=["few", "many", "falling"])
def test_tau_equals_scipy(values: list[float]) -> None:
    """Scipy kendalltau; without ties tau-b is S over the pairs."""
    found = mann_kendall(np.array(values))
    assert found.tau == pytest.approx(stats.kendalltau(np.arange(len(values)), values).statistic)


def test_scipys_documented_tau() -> None:
    """Scipy kendalltau, docstring (confirmed and computed): -0.4714045; S by sorting the pairs."""
    x, y = [12, 2, 1, 12, 2], [1, 4, 7, 1, 0]
    assert stats.kendalltau(x, y).statistic == pytest.approx(-0.47140452)
    pairs = [(a, b) for i, a in enumerate(zip(x, y, strict=True)) for b in zip(x, y, strict=True)]
    s = sum(np.sign(b[0] - a[0]) * np.sign(b[1] - a[1]) for a, b in pairs) / 2
    # Ties: 2 pairs in x, 1 in y, of 10.
    assert s / math.sqrt((10 - 2) * (10 - 1)) == pytest.approx(-0.47140452)


# --- edges ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("correction", [mk.NONE, mk.HAMED_RAO, mk.YUE_WANG, mk.SERIAL])
def test_flat_values_prove_nothing(correction: mk.Correction) -> None:
    """[5] * 5: S 0, variance 0, p 1 (computed from the formula)."""
    found = mann_kendall(np.full(5, 5.0), correction=correction)
    assert (found.score, found.variance, found.p, found.z) == (0, 0.0, 1.0, 0.0)


@pytest.mark.parametrize("correction", [mk.NONE, mk.HAMED_RAO, mk.YUE_WANG, mk.SERIAL])
def test_mirrored_series_mirrors_the_result(correction: mk.Correction) -> None:
    """Mirrored series mirrors the result."""
    x = np.array(SERIES[5])
    up, down = (mann_kendall(sign * x, correction=correction) for sign in (1, -1))
    assert up.z == pytest.approx(-down.z)
    assert up.p == pytest.approx(down.p)
    assert down.z > 0


def test_the_own_correction_never_narrows() -> None:
    """The own correction never narrows."""
    jagged = np.arange(40.0) % 2 + 0.01 * np.arange(40)
    assert mann_kendall(jagged, correction=mk.HAMED_RAO).factor < 1
    assert mann_kendall(jagged, correction=mk.SERIAL).factor == 1.0


@pytest.mark.parametrize("memory", [0.0, 0.6])
def test_false_alarms(memory: float) -> None:
    """Noise without a trend: 5 % of alarms are promised at p < 0.05.

    With 300 series the share has a standard error of 1.3 %, so that 5 % stays below 10 %. Without
    a correction a memory of 0.6 widens the spread of S by sqrt((1 + 0.6) / (1 - 0.6)) = 2, hence
    about 2 * (1 - Phi(1.96 / 2)) = 33 % of alarms.
    """
    rng = np.random.default_rng(20)
    series = [memory_noise(rng, 80, memory) for _ in range(300)]
    plain, widened = (
        np.mean([mann_kendall(one, correction=way).p < 0.05 for one in series])
        for way in (mk.NONE, mk.SERIAL)
    )
    assert widened < 0.10
    if memory:
        assert plain > 0.25
    else:
        assert plain < 0.10
        assert widened > 0.01


# --- refusals -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("values", "told"),
    [
        ([1.0, 2.0, 3.0], "has 3 values"),
        ([1.0, math.nan, 3.0, 4.0], "holds nan as value 2"),
        ([1.0, 2.0, 3.0, math.inf], "holds inf as value 4"),
        ([[1.0, 2.0], [3.0, 4.0]], "2 dimensions"),
        (np.zeros(3001), "has 3001 values"),
    ],
)
def test_refuses(values: Any, told: str) -> None:
    """Refuses."""
    with pytest.raises(RangeError, match=told):
        mann_kendall(np.array(values))


def test_refuses_an_unknown_correction() -> None:
    """Refuses an unknown correction."""
    with pytest.raises(RangeError, match="'best' is not known"):
        mann_kendall(np.array(RISING), correction="best")  # type: ignore[arg-type]
