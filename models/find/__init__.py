"""The whole search: from minutes to ranked rows of findings."""

from models.find.find import Losses, find_losses
from models.find.rows import FINDING_COLUMNS
from models.find.series import LOSS_COLUMNS
