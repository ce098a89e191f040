"""The whole search: from minutes to ranked rows of findings."""

from models.find.find import LOSS_COLUMNS, Losses, find_losses
from models.find.rows import FINDING_COLUMNS
