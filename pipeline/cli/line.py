"""The command line itself, before it has commands: ``pipeline.cli.app`` gives it those.

What tells of all commands asks here, since it is a command too and cannot ask who holds it.
"""

from __future__ import annotations

from cyclopts import App


def _version() -> str:
    """Version of lostpol; what looks it up is loaded only when somebody asks."""
    from importlib.metadata import version  # noqa: PLC0415

    return version("lostpol")


app = App(
    name="lostpol",
    version=_version,
    help=(
        "Finds hidden sucrose loss in juice clarification from historian exports and lab "
        "results. Start with: lostpol demo"
    ),
    help_format="plaintext",
    suppress_keyboard_interrupt=False,  # it ends with a word: pipeline.cli.app.run
)
