"""Rows of a drawing, kept apart from its charts until it is whole."""

from __future__ import annotations

from typing import Any

import altair as alt


class Datasets:
    """Rows of a drawing by name.

    Charts name their rows and the rows join the specification last: carried inside the chart
    objects they would be copied and checked at every step, which takes seconds.
    """

    def __init__(self) -> None:
        self.rows: dict[str, list[dict[str, Any]]] = {}

    def add(self, rows: list[dict[str, Any]]) -> alt.Chart:
        """Keep the rows under a name of their own and give a chart that reads them."""
        name = f"rows{len(self.rows)}"
        self.rows[name] = rows
        return alt.Chart(alt.NamedData(name=name))
