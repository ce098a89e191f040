"""The whole search: from minutes to ranked rows of findings."""

from typing import TYPE_CHECKING

from features.base import handed_out

if TYPE_CHECKING:
    from models.find.find import Losses, find_losses
    from models.find.rows import FINDING_COLUMNS
    from models.find.series import LOSS_COLUMNS
else:
    __getattr__ = handed_out(__name__, __file__)
