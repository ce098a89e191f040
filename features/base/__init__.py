"""Arrays, frames, the station as described, laboratory series."""

from typing import TYPE_CHECKING

from features.base.room import handed_out

if TYPE_CHECKING:
    from features.base.frames import (
        MINUTE,
        STATION_COLUMNS,
        TAG,
        TIME,
        ZONE_COLUMNS,
        Column,
        Columns,
        check_frame,
        polars_schema,
    )
    from features.base.lab import (
        LAB_COLUMNS,
        brix_pct,
        composites,
        grabs,
        lab_results,
        left_out,
        purity_pct,
    )
    from features.base.lab_basis import (
        COMPANION,
        LONGEST_HOLD_H,
    )
    from features.base.lapack import dpbtrf, dpbtrs, dtbtrs
    from features.base.numeric import (
        GAS_CONSTANT,
        KELVIN,
        LN10,
        BoolArray,
        FloatArray,
        Numeric,
        at_least,
        exp,
        exp10,
        ln,
        log10,
    )
    from features.base.readings import (
        Each,
        Readings,
        by_tag,
        in_order,
        rows_by_tag,
        times_us,
        values,
    )
    from features.base.station import (
        QUANTITY_COLUMNS,
        Analyte,
        Basis,
        Filtrate,
        Interpolation,
        Kinetics,
        LabSource,
        Port,
        Quantity,
        Settling,
        Signal,
        Station,
        Targets,
        Vessel,
        VesselKind,
    )
else:
    __getattr__ = handed_out(__name__, __file__)
