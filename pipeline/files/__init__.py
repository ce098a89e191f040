"""Files of any form, packed or not, as tables of text with headings, or as arrays."""

from typing import TYPE_CHECKING

from features.base import handed_out

if TYPE_CHECKING:
    from pipeline.files.blocks import Block, NotPlainError, Source, is_plain
    from pipeline.files.door import PASSING, explained
    from pipeline.files.head import (
        TIME_NAMES,
        Head,
        bare_unit,
        is_moment,
        is_number,
        parted,
        plain_name,
        subhead,
    )
    from pipeline.files.limits import shown
    from pipeline.files.parquet_blocks import ParquetSource
    from pipeline.files.tables import ExportFile, batches, export_tables
    from pipeline.files.text_blocks import TextSource
    from pipeline.files.uneven import EXTRA, SHORT
else:
    __getattr__ = handed_out(__name__, __file__)
