"""Commands for two questions of a shift that need no export: standing juice, and a set-point."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated, Literal

from cyclopts import Parameter

MillFile = Annotated[Path, Parameter(help="The mill's description, a TOML file.")]


def standing(
    *,
    ph: float,
    ph_at: Literal["cold", "hot"],
    temp: float,
    brix: float,
    hours: float,
    cooling: float = 0.0,
    mill: Path | None = None,
    json: bool = False,
) -> None:
    """Tell what juice held hot loses while it stands.

    Parameters
    ----------
    ph
        pH at the start, 4 to 9.
    ph_at
        cold: of a cooled sample; hot: at the juice's own temperature. The pH at the end is told
        on the same basis.
    temp
        Juice temperature at the start [degC], 20 to 130.
    brix
        Dissolved solids [% by mass], above 0 to 80.
    hours
        How long it stands [h], up to 720.
    cooling
        How fast it cools [K/h], down to 20 degC.
    mill
        A mill's description, for its own kinetics; without one the published ones.
    json
        Write it as JSON for other programs: lost_pct with its 90 % interval and rs_made_pct
        (reducing sugars made, 1.0526 x sucrose inverted) in % of the sucrose at the start.
    """
    from features.advice import Juice  # noqa: PLC0415
    from pipeline.cli import calculators, calculators_show  # noqa: PLC0415
    from pipeline.cli.spoken import load_mill  # noqa: PLC0415

    juice = Juice(ph, ph_at, temp, brix, cooling)
    described = load_mill(mill) if mill else None
    result, known = calculators.standing_juice(juice, hours, described)
    if json:
        sys.stdout.write(calculators.standing_json(result) + "\n")
    else:
        calculators_show.show_standing(result, juice, known)


def setpoint(mill: MillFile, *, json: bool = False) -> None:
    """Tell the limed-juice pH that costs least between inversion and destruction of sugars.

    Parameters
    ----------
    json
        Write it as JSON for other programs, with the whole curve; costs per day.
    """
    from pipeline.cli import calculators, calculators_show  # noqa: PLC0415
    from pipeline.cli.spoken import load_mill  # noqa: PLC0415

    described = load_mill(mill)
    answer = calculators.limed_ph(described)
    if json:
        sys.stdout.write(calculators.setpoint_json(described, *answer) + "\n")
    else:
        calculators_show.show_setpoint(described, *answer)
