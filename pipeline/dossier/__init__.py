"""The dossier of one finding: a page that needs nothing else, its data beside it."""

from pipeline.dossier.period import write_period
from pipeline.dossier.write import write_dossier
