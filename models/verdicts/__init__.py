"""What verdicts of people teach about other findings."""

from typing import TYPE_CHECKING

from features.base import handed_out

if TYPE_CHECKING:
    from models.verdicts.verdicts import as_found, learn, with_verdicts
else:
    __getattr__ = handed_out(__name__, __file__)
