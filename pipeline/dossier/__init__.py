"""The dossier of one finding: a page that needs nothing else, its data beside it."""

from typing import TYPE_CHECKING

from features.base import handed_out

if TYPE_CHECKING:
    from pipeline.dossier.export import (
        csv_bytes,
        lab_frame,
        minutes_frame,
        parquet_bytes,
    )
    from pipeline.dossier.period import (
        PeriodView,
        view_of_period,
        write_period,
    )
    from pipeline.dossier.render import (
        chart_script,
        page_parts,
    )
    from pipeline.dossier.similar import (
        similar_episodes,
    )
    from pipeline.dossier.write import (
        dossier_page,
        write_dossier,
    )
else:
    __getattr__ = handed_out(__name__, __file__)
