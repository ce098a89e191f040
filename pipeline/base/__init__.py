"""What every room uses: errors, texts for any tongue, locks, spans of time, pieces of work."""

from typing import TYPE_CHECKING

from features.base import handed_out

if TYPE_CHECKING:
    from pipeline.base.cores import ONE_THREAD, as_done, cores_here, over_cores, processes
    from pipeline.base.disk import flush_folder, free_bytes, full_disk
    from pipeline.base.errors import (
        Answer,
        ConfigError,
        DataError,
        DeliveryError,
        LakeError,
        LostpolError,
        StoreBusyError,
        UnwellError,
    )
    from pipeline.base.extras import needing
    from pipeline.base.lock import is_running, only_run, only_sender, only_writer
    from pipeline.base.message import (
        Amount,
        Day,
        Edited,
        Figure,
        Measured,
        Parts,
        Phrase,
        Said,
        Stored,
        amount,
        counted,
        figure,
        filled,
        joined,
        said,
        stored,
    )
    from pipeline.base.private import (
        Readers,
        copy_rights,
        keep_private,
        open_to_others,
        private_folder,
    )
    from pipeline.base.progress import Pace, Progress, StoppedError, silent
    from pipeline.base.spread import Piece, Spread, batches, one_by_one
    from pipeline.base.window import ONE_DAY, Window, midnight, now
else:
    __getattr__ = handed_out(__name__, __file__)
