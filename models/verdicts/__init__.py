"""What verdicts of people teach about other findings."""

from models.verdicts.verdicts import as_found, learn, with_verdicts
