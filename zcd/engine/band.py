"""Triangular band matrices, solved by LAPACK."""

from __future__ import annotations

from functools import cache
from importlib.machinery import EXTENSION_SUFFIXES, ExtensionFileLoader, FileFinder
from importlib.util import module_from_spec
from pathlib import Path
from types import ModuleType

import numpy as np
import scipy
from numpy.typing import NDArray

from zcd.errors import SolverError

FloatArray = NDArray[np.float64]


@cache
def lapack() -> ModuleType:
    """LAPACK as scipy has it, without the rest of `scipy.linalg`.

    The whole loads modules for documentation and tests of numpy's too, which takes longer than
    a board is solved in.
    """
    folder = str(Path(scipy.__file__).parent / "linalg")
    spec = FileFinder(folder, (ExtensionFileLoader, EXTENSION_SUFFIXES)).find_spec("_flapack")
    if spec is None or spec.loader is None:  # a scipy that is laid out in another way
        from scipy.linalg import lapack as whole

        return whole
    module = module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def solve_band(band: FloatArray, right: FloatArray, *, unit: bool = False) -> FloatArray:
    """Solve a lower triangular band matrix, all rows of the batch after one another in it.

    Parameters
    ----------
    band : ndarray, shape (n, m, k, diagonals)
        From the main diagonal to the lowest.
    right : ndarray, shape (sides, n, m, k)
    unit : bool
        The main diagonal is 1 throughout, whatever `band` has there.

    Returns
    -------
    x : ndarray, shape of `right`
    """
    matrix = band.reshape(-1, band.shape[-1]).T
    sides = right.reshape(right.shape[0], -1).T
    diagonal = "U" if unit else "N"
    x, info = lapack().dtbtrs(matrix, sides, uplo="L", diag=diagonal, overwrite_b=True)
    if info != 0:
        raise SolverError("the circuit's equations are singular")
    return np.asarray(x.T.reshape(right.shape))
