"""Libraries that only some mills need: what each set is for, and the word when it is missing."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Final, Literal

from pipeline.base.errors import ConfigError
from pipeline.base.message import said

#: A lake in an object store has words of its own, in pipeline/lake/objects.py.
Extra = Literal["serve", "cluster", "opcua", "sql"]

#: What a set of libraries is for, and how to do without it; its name is that of pyproject.toml.
_FOR: Final[dict[Extra, tuple[str, str]]] = {
    "serve": (
        said("Runs on a schedule of lostpol's own"),
        said("Or start lostpol nightly from a timer of your system: configs/README.md."),
    ),
    "cluster": (
        said("Work on a cluster"),
        said("Or leave out --cluster, --scheduler and --workers."),
    ),
    "opcua": (
        said("History over OPC UA"),
        said("Or pull exports: lostpol pull MILL FILES..."),
    ),
    "sql": (
        said("Readings from a SQL database"),
        said("Or pull exports: lostpol pull MILL FILES..."),
    ),
}
_OWN: Final = frozenset({"pipeline", "models", "features"})


@contextmanager
def needing(extra: Extra, where: str = said("this installation")) -> Iterator[None]:
    """Say in plain words which set of libraries is not installed, and how to get it.

    Parameters
    ----------
    extra : str
        Name of the set.
    where : str
        What asked for it.

    Raises
    ------
    ConfigError
        A library that is loaded inside is not there.
    """
    try:
        yield
    except ModuleNotFoundError as error:
        if (error.name or "").partition(".")[0] in _OWN:
            raise  # a fault of lostpol's own
        what, otherwise = _FOR[extra]
        raise ConfigError(
            said(
                "{what} takes libraries that are not installed ({name}).",
                what=what,
                name=error.name,
            ),
            where,
            said(
                "In lostpol's folder: .venv/bin/pip install -e '.[{extra}]'. {otherwise}",
                extra=extra,
                otherwise=otherwise,
            ),
        ) from error
