"""Root finding for many questions at once."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import elementwise

FloatArray = NDArray[np.float64]


def batched_root(
    function: Callable[[FloatArray, FloatArray], FloatArray],
    low: FloatArray,
    high: FloatArray,
    row: FloatArray,
    tolerance: float,
) -> FloatArray:
    """Where a function of one variable changes sign, for many rows in one batch.

    Parameters
    ----------
    function : callable
        Of the variable and the row's number, both of shape (k,): only rows still open are asked.
    low, high : ndarray, shape (n,)
        Ends with different signs.
    row : ndarray, shape (n,)
        Numbers handed to `function`.
    tolerance : float
        In the variable.

    Returns
    -------
    root : ndarray, shape (n,)
    """
    found = elementwise.find_root(  # type: ignore[call-overload]
        lambda x, r: function(np.atleast_1d(x), np.atleast_1d(r)),
        (low, high),
        args=(row,),
        tolerances={"xatol": tolerance, "xrtol": 0.0, "fatol": 0.0, "frtol": 0.0},
    )
    return np.asarray(found.x)
