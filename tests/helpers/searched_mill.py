"""A few days of the sample season, searched."""

from datetime import UTC, datetime

from checkouts import small_checkout

from pipeline.cli import demo
from pipeline.stages import stages


def searched_folder(tmp_path_factory):
    """Folder of a mill with four and a half days searched; not to be changed."""
    tags = (datetime(2025, 10, 9, tzinfo=UTC), datetime(2025, 10, 13, 12, tzinfo=UTC))
    lab = ("2025-10-08 20", "2025-10-13 08")
    checkout = small_checkout(tmp_path_factory.mktemp("checkout"), tags, lab)
    folder = tmp_path_factory.mktemp("searched")
    # Without the reports of a demonstration: store and lake alone.
    made, files = demo.prepare(folder, checkout)
    stages.pull(made, files)
    stages.derive(made)
    stages.detect(made, "backfill")
    return folder / demo.FOLDER
