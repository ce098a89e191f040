"""What the level of one finding's tonnes rests on."""

from __future__ import annotations

from models.account import multiplier_log_sd
from pipeline.dossier.gather import Material
from pipeline.present import level_beware
from pipeline.words import known


def level_of(material: Material) -> str:
    """Say so where the tonnes rest on the description's multiplier; empty where they do not.

    The account of the finding counts: its search window may have had other results than the run's
    last. What microbes eat does not follow from that multiplier at all.
    """
    account, run = material.account or {}, material.run or {}
    if account.get("kind") == "microbial":
        return ""
    for told in (account, run):
        low, high = (known(told.get(f"multiplier_{end}")) for end in ("low", "high"))
        pairs = known(told.get("multiplier_pairs"))
        if low and high and pairs is not None and 0.0 < low <= high:
            log_sd = multiplier_log_sd(low, high)
            last = material.finding["last_seen"].date()
            return level_beware(material.mill, log_sd, int(pairs), last)
    return ""
