"""How many standard uncertainties an interval needs: coverage factors and degrees of freedom.

References
----------
JCGM 100:2008 (GUM), annex G.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

from lungwort.errors import BudgetError

if TYPE_CHECKING:
    from collections.abc import Sequence

COVERAGE: Final = 0.9545
"""Share of the true values inside x ± U: that of k = 2 for a normal spread, as the decision rules
take it."""
_DUST: Final = 1e-9


def checked_coverage(coverage: float) -> float:
    """Refuse a coverage that is no share.

    Parameters
    ----------
    coverage : float
        Share of true values, above 0 and below 1 [1].

    Returns
    -------
    float
        The same.

    Raises
    ------
    BudgetError
        Where it is none.
    """
    if not 0.0 < coverage < 1.0:
        raise BudgetError(f"a coverage of {coverage:g} was given. It must lie above 0 and below 1.")
    return coverage


def coverage_factor(dof: float, coverage: float = COVERAGE) -> float:
    """Give k for a coverage, from Student's t.

    Parameters
    ----------
    dof : float
        Degrees of freedom, 1 or more; rounded down to a whole number [1].
    coverage : float
        Share of true values, above 0 and below 1 [1].

    Returns
    -------
    float
        k [1].

    Raises
    ------
    BudgetError
        Where the degrees of freedom are below 1.

    References
    ----------
    JCGM 100:2008, G.3.4 and table G.2.

    Examples
    --------
    >>> round(coverage_factor(float("inf")), 2), round(coverage_factor(10.7), 2)
    (2.0, 2.28)
    """
    from scipy.special import ndtri, stdtrit  # noqa: PLC0415 - keeps --help instant

    if not dof >= 1:
        raise BudgetError(f"{dof:g} degrees of freedom were given. At least 1 is needed.")
    upper = (1.0 + checked_coverage(coverage)) / 2.0
    if math.isinf(dof):
        return float(ndtri(upper))
    return float(stdtrit(math.floor(dof + _DUST), upper))


def effective_dof(contributions: Sequence[float], dofs: Sequence[float]) -> float:
    """Give the effective degrees of freedom of independent parts by Welch and Satterthwaite.

    Parameters
    ----------
    contributions : sequence of float
        Standard uncertainty of the result by each part alone [unit].
    dofs : sequence of float
        Their degrees of freedom, 1 or more; infinite where known [1].

    Returns
    -------
    float
        Effective degrees of freedom; infinite where no part counts that has fewer [1].

    References
    ----------
    JCGM 100:2008, G.4.1, equation G.2b.
    """
    total = sum(one**2 for one in contributions) ** 2
    weighed = sum(one**4 / dof for one, dof in zip(contributions, dofs, strict=True))
    return total / weighed if weighed > 0 else math.inf
