"""The dossier of one finding: a page that needs nothing else, its data beside it."""

from typing import TYPE_CHECKING

from features.base import handed_out

if TYPE_CHECKING:
    from pipeline.dossier.period import write_period
    from pipeline.dossier.write import write_dossier
else:
    __getattr__ = handed_out(__name__, __file__)
