"""The command that opens the review desk; light to import, as all commands are."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

from cyclopts import Parameter, validators


def desk(
    mills: Annotated[list[Path], Parameter(help="Descriptions of the mills, TOML files.")],
    /,
    *,
    port: Annotated[int, Parameter(validator=validators.Number(gte=0, lte=65535))] = 0,
    browser: bool = True,
    view_only: Annotated[bool, Parameter(negative="")] = False,
) -> None:
    """Open the review desk: a season on one page, any hour two clicks away, verdicts by key.

    A page of this machine alone, in the browser; its address is on the first line. It reads the
    published findings and the lake, so that it works while a night runs. Ctrl-C ends it.

    Parameters
    ----------
    port
        Port of this machine; without one a free one is taken.
    browser
        Open it in the browser; --no-browser prints the address alone.
    view_only
        Show, and let nobody give verdicts or notes.
    """
    from pipeline.base import ConfigError  # noqa: PLC0415
    from pipeline.cli.terminal import say  # noqa: PLC0415
    from pipeline.desk import serve_desk  # noqa: PLC0415
    from pipeline.mill import load_mill  # noqa: PLC0415

    if not mills:
        raise ConfigError("No mill was named.", "command line", "Name one or more TOML files.")
    described = [load_mill(mill) for mill in mills]
    serve_desk(described, say, port=port, browser=browser, view_only=view_only)
