"""Files of any form, packed or not, as tables of text with headings, or as arrays."""

from pipeline.files.blocks import Block, NotPlainError, Source, is_plain
from pipeline.files.head import (
    DATE_NAMES,
    TIME_NAMES,
    Head,
    is_moment,
    is_number,
    parted,
    plain_name,
    subhead,
)
from pipeline.files.limits import LONGEST_ROW, check_unpacked, shown
from pipeline.files.parquet_blocks import ParquetSource
from pipeline.files.tables import ExportFile, batches, explained, export_tables
from pipeline.files.text import parse_block
from pipeline.files.text_blocks import TextSource
from pipeline.files.uneven import EXTRA, SHORT
