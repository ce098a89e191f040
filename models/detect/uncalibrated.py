"""Channels in which no one can say how often chance alone makes a loss."""

from __future__ import annotations

from collections.abc import Sequence

import polars as pl

from features.base import Column, Columns, polars_schema
from models.detect.channels import Channel
from models.search import Look, Residual, Span

PERIODS = "periods"
SPELLS = "spells"
#: Added to the name of a channel for the series in which one fault of it shows by itself.
WITNESS = "_witness"
#: What `uncalibrated_of` gives.
UNCALIBRATED_COLUMNS: Columns = {
    "channel": Column.text("Channel of the search; of its witness, name_witness."),
    "section": Column.text("Where."),
    "kind": Column.text("periods, or spells: hours that come and go."),
}


def kind_of(span: Span) -> str | None:
    """Kind of stretch whose chance could not be learnt, or None where it could."""
    if span.sure:
        return None
    return SPELLS if span.spells else PERIODS


def uncalibrated_of(looked: Sequence[tuple[Channel, Residual]]) -> pl.DataFrame:
    """List the channels that could not be calibrated, whether a finding came of them or not.

    Parameters
    ----------
    looked : sequence of (Channel, Residual)
        Channels as they were searched; those that are read off and not searched count as known.

    Returns
    -------
    DataFrame
        Columns of ``UNCALIBRATED_COLUMNS``.
    """
    rows = []
    for channel, residual in looked:
        if residual.look is None:
            continue
        rows += [(channel.name, channel.section, kind) for kind in _kinds(residual.look)]
        if residual.witness is not None:
            name = channel.name + WITNESS
            rows += [(name, channel.section, kind) for kind in _kinds(residual.witness)]
    return pl.DataFrame(rows, schema=polars_schema(UNCALIBRATED_COLUMNS), orient="row")


def _kinds(look: Look) -> list[str]:
    chances = ((PERIODS, look.chance), (SPELLS, look.up_chance))
    return [kind for kind, chance in chances if not chance.sure]
