"""From rates to tonnes, step by step; what moved first; similar episodes."""

from typing import TYPE_CHECKING

from features.base import handed_out

if TYPE_CHECKING:
    from models.account.account import (
        CHANNEL_DRIVERS,
        account_of,
        interval_kg,
        lost_kg,
        microbial_account,
        part_kg,
    )
    from models.account.calibrated import (
        CALIBRATION,
        Calibration,
        calibrations,
        hours_of,
        with_calibrations,
    )
    from models.account.driven import (
        DRIVEN_COLUMNS,
        STANDING,
        Driven,
    )
    from models.account.finding_share import (
        share_kg,
    )
    from models.account.first_moves import (
        Departure,
        first_departure,
        together,
    )
    from models.account.known import (
        EXPLAINS,
        KNOWN_NOTICE,
        Note,
        explained_by,
        known_notices,
        touching,
    )
    from models.account.named import (
        DRIVERS_OF,
        Moved,
        Named,
        all_moves,
        family_of,
        name_first,
    )
    from models.account.order import (
        BLOCK_MIN,
        on_parcel_time,
    )
    from models.account.period import (
        MICROBES,
        NOT_MEASURED,
        PERIOD_DRIVERS,
        DriverPart,
        PeriodAccount,
        Touching,
        VesselPart,
        account_of_period,
    )
    from models.account.period_error import (
        Surroundings,
        Tonnes,
        error_of_period,
    )
    from models.account.plausibility import (
        BAD_INVERSION_PCT,
        USUAL_DESTRUCTION_PCT_H,
        USUAL_INVERSION_PCT,
        USUAL_PH_FALL,
        Band,
        Plausibility,
        plausible_figures,
        undetermined_band,
    )
    from models.account.similarity import (
        Episode,
        Likeness,
        similar,
    )
    from models.account.sums import (
        SUM_COLUMNS,
        added_findings,
        bare_sums,
        loss_sums,
        multiplier_log_sd,
        pooled,
        with_bounds,
    )
    from models.account.tracked import (
        FLOCCULANT_PER_JUICE,
        LIME_PER_JUICE,
        PROBE_ERROR,
        Tracked,
        tracked_signals,
    )
    from models.account.travel import (
        CARRIED,
        Way,
        delay_min,
        ways,
    )
    from models.account.worked_steps import (
        ByHand,
        VesselRow,
        Workings,
        work_through,
    )
else:
    __getattr__ = handed_out(__name__, __file__)
