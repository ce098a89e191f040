"""Readings and features as Parquet by UTC day, in a folder or an object store."""

from typing import TYPE_CHECKING

from features.base import handed_out

if TYPE_CHECKING:
    from pipeline.lake.columns import (
        GOOD,
        Columns,
        Names,
        day_bytes,
        to_frame,
        write_by_tag,
        write_frame,
    )
    from pipeline.lake.coverage import (
        data_bounds,
        lake_of,
        seasons_of,
        tag_health,
        worked_out,
    )
    from pipeline.lake.days import (
        LIGHT,
        DayParts,
        Part,
    )
    from pipeline.lake.intact import (
        ASIDE,
        RottenError,
        Survey,
        day_of,
        set_aside,
        survey,
        whole_bytes,
    )
    from pipeline.lake.kinds import (
        DAILY,
        DRIVEN,
        FOUND,
        GRID,
        HEALTH,
        LEVEL,
        LEVERS,
        LOSSES,
        METHODS,
        NOTICES,
        SEARCHED,
        SEARCHED_COLUMNS,
        SENSOR_DAYS,
        SENSORS,
        SHARPNESS,
        STATION,
        SUMS,
        UNCALIBRATED,
        ZONES,
    )
    from pipeline.lake.lake import (
        Lake,
    )
    from pipeline.lake.merge import (
        READINGS_COLUMNS,
        READINGS_SCHEMA,
        DayMerge,
        import_readings,
        merge_readings,
    )
    from pipeline.lake.reasons import reason_words
    from pipeline.lake.refused import (
        REFUSALS,
        REFUSED_COLUMNS,
        ROWS_KEPT,
        Tally,
        read_refused,
        refused_frame,
        refused_name,
    )
    from pipeline.lake.replace import replace_file
    from pipeline.lake.rivals import (
        TWO_VALUES,
        Rivals,
    )
    from pipeline.lake.seal import (
        digest_of,
        sealed_json,
    )
    from pipeline.lake.sealing import (
        frame_bytes,
        put_seal,
    )
    from pipeline.lake.storage import (
        Storage,
    )
else:
    __getattr__ = handed_out(__name__, __file__)
