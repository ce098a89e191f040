"""LAPACK's solvers of banded systems, without the library that they come in.

The package ``scipy.linalg`` loads far more than its LAPACK: twenty times as long as the routines
themselves, which a short command would wait for. So the one file that holds them is loaded by
itself; where it is not found, or cannot be loaded so, the routines are those of the package.
"""

from __future__ import annotations

import sys
from importlib.machinery import PathFinder
from importlib.util import find_spec, module_from_spec
from types import ModuleType
from typing import Final

_PACKAGE: Final = "scipy.linalg"
_FILE: Final = f"{_PACKAGE}._flapack"


def _routines() -> ModuleType:
    """Load the module of LAPACK's routines."""
    if _PACKAGE not in sys.modules:
        try:
            return _alone()
        except (ImportError, AttributeError):
            pass
    from scipy.linalg import lapack  # noqa: PLC0415

    return lapack


def _alone() -> ModuleType:
    """Load the file of the routines without its package."""
    package = find_spec("scipy")
    places = (package.submodule_search_locations if package else None) or []
    spec = PathFinder.find_spec(_FILE, [f"{place}/linalg" for place in places])
    if spec is None or spec.loader is None:
        raise ImportError(_FILE)
    module = module_from_spec(spec)
    spec.loader.exec_module(module)
    for name in ("dtbtrs", "dpbtrf", "dpbtrs"):
        getattr(module, name)
    return module


_FOUND: Final = _routines()
#: Triangular band: solve; positive definite band: factor, and solve with the factor.
dtbtrs: Final = _FOUND.dtbtrs
dpbtrf: Final = _FOUND.dpbtrf
dpbtrs: Final = _FOUND.dpbtrs
