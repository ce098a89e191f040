"""The command that opens the review desk; light to import, as all commands are."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

from cyclopts import Parameter, validators

from pipeline.words import said


def desk(
    mills: Annotated[list[Path], Parameter(help="Descriptions of the mills, TOML files.")],
    /,
    *,
    port: Annotated[int, Parameter(validator=validators.Number(gte=0, lte=65535))] = 0,
    listen: str = "127.0.0.1",
    cert: Path | None = None,
    key: Path | None = None,
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
    listen
        Name or address of this machine that others open, too. Needs --cert and --key, and a token
        in LOSTPOL_DESK_TOKEN that everybody types once to enter.
    cert
        Certificate of that name, a PEM file.
    key
        Its key, a PEM file.
    browser
        Open it in the browser; --no-browser prints the address alone.
    view_only
        Show, and let nobody give verdicts or notes.
    """
    from pipeline.base import ConfigError  # noqa: PLC0415
    from pipeline.cli.handbook import all_commands  # noqa: PLC0415
    from pipeline.cli.spoken import load_mill  # noqa: PLC0415
    from pipeline.cli.terminal import say  # noqa: PLC0415
    from pipeline.desk import Listen, serve_desk  # noqa: PLC0415

    if not mills:
        raise ConfigError(
            said("No mill was named."), said("command line"), said("Name one or more TOML files.")
        )
    described = [load_mill(mill) for mill in mills]
    where = Listen(listen, port, cert, key)
    serve_desk(described, say, where, browser=browser, view_only=view_only, commands=all_commands)
