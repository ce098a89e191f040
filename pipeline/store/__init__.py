"""The findings database: tables, published copy, verdicts, and findings as files."""

from typing import TYPE_CHECKING

from features.base import handed_out

if TYPE_CHECKING:
    from pipeline.store.database import (
        KEPT_BACKUPS,
        migrate,
        opened,
        refuse_newer,
    )
    from pipeline.store.dictionary import (
        chapters,
        dictionary_text,
        write_dictionary,
    )
    from pipeline.store.export import (
        export_findings,
        findings_frame,
    )
    from pipeline.store.folders import (
        PAGE,
        SAFE_ID,
        dossier_home,
        dossiers_of,
        published_store_of,
        store_of,
    )
    from pipeline.store.learning import (
        counting,
    )
    from pipeline.store.matching import (
        Row,
        merge_findings,
        pair_up,
    )
    from pipeline.store.naming import (
        chosen,
    )
    from pipeline.store.published import (
        write_copy,
    )
    from pipeline.store.schema import (
        MIGRATIONS,
    )
    from pipeline.store.spoilt import (
        backups_of,
        read_through,
    )
    from pipeline.store.store import (
        RunResult,
        Store,
    )
    from pipeline.store.tables import (
        table_schema,
    )
    from pipeline.store.verdicts import (
        Verdict,
        give_verdict,
        verdict_lines,
        verdict_summary,
    )
else:
    __getattr__ = handed_out(__name__, __file__)
