"""Write the export files of this folder and, from the same numbers, what must be read from them.

No reader of lostpol is used here: a file and its expectation come from one list of readings.
"""

from __future__ import annotations

import json

import cases_again
import cases_text
import cases_time
import cases_value
from corpus_tools import CASES, FILES


def main():
    """Write all cases anew."""
    for make in (
        cases_text.dialects,
        cases_text.heads,
        cases_time.times,
        cases_time.changes,
        cases_value.values,
        cases_value.judgements,
        cases_value.sheets,
        cases_again.sections,
        cases_again.hours,
        cases_again.clocks,
    ):
        make()
    FILES.mkdir(exist_ok=True)
    for path in FILES.iterdir():
        path.unlink()
    for name, (content, expectation) in CASES.items():
        (FILES / name).write_bytes(content)
        text = json.dumps(expectation, ensure_ascii=False)
        (FILES / f"{name}.expected.json").write_text(text + "\n", encoding="utf-8")
    print(f"{len(CASES)} files")  # noqa: T201 (a script)


if __name__ == "__main__":
    main()
