"""The review desk: season, periods, findings and verdicts in a browser on this machine."""

from typing import TYPE_CHECKING

from features.base import handed_out

if TYPE_CHECKING:
    from pipeline.desk.server import Listen, serve_desk
else:
    __getattr__ = handed_out(__name__, __file__)
