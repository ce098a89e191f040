"""The command that explains one finding; light to import, as all commands are."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

from cyclopts import Parameter


def explain(
    mill: Annotated[Path, Parameter(help="The mill's description, a TOML file.")],
    finding: Annotated[str, Parameter(help="Id of the finding, or its beginning.")],
    /,
    *,
    out: Path | None = None,
) -> None:
    """Write the dossier of one finding: trends, order of moves, the numbers behind the tonnes.

    A page for any browser, without network, and its data as CSV and Parquet.

    Parameters
    ----------
    out
        Folder to write to; without one, the finding's own below the reports of the store, where
        the dossiers of similar losses lie and are linked.
    """
    from pipeline.cli.spoken import load_mill  # noqa: PLC0415
    from pipeline.cli.terminal import CAUTION, say  # noqa: PLC0415
    from pipeline.dossier import write_dossier  # noqa: PLC0415
    from pipeline.words import said  # noqa: PLC0415

    written = write_dossier(load_mill(mill), finding, out)
    say(said("Dossier: {path}", path=written))
    say(said("Data:    {folder}, as CSV and Parquet", folder=written.parent))
    say(CAUTION)
