"""What runs did, as one JSON object a line in the store: for machines, and for whoever must ask.

The log is bounded (`MOST_BYTES` a file, `MOST_FILES` files). It never stops a run: what cannot be
written is let go. Values of environment variables that are named like secrets, and passwords in
addresses, are struck out before anything is written.
"""

from __future__ import annotations

import json
import os
import re
from contextlib import suppress
from pathlib import Path
from typing import Any, Final

from pipeline.base import now, private_folder
from pipeline.mill import Mill
from pipeline.words import clean

MOST_BYTES: Final = 2 << 20
MOST_FILES: Final = 5
_SECRET_NAMES: Final = re.compile(r"PASS|SECRET|TOKEN|CREDENTIAL|_KEY$", re.IGNORECASE)
_IN_ADDRESS: Final = re.compile(r"(://[^/@\s:]*):[^@\s]*@")
_IN_WORDS: Final = re.compile(r"(?i)\b(password|passwd|pwd|token|secret)(\s*[=:]\s*)\S+")
_STRUCK: Final = "[struck out]"
_LONGEST: Final = 1000


def log_folder(mill: Mill) -> Path:
    """Folder of the logs of a mill."""
    return mill.store_path / "log"


def log_path(mill: Mill) -> Path:
    """Log that is written now; older ones have a number behind their name."""
    return log_folder(mill) / "lostpol.jsonl"


def log_event(mill: Mill, event: str, **facts: object) -> None:
    """Add one line; see the module for what is never written.

    Parameters
    ----------
    event : str
        What happened, in a few fixed words.
    **facts : object
        Text, numbers and None; text is cleaned and shortened.
    """
    line: dict[str, object] = {"at": now().isoformat(timespec="milliseconds"), "event": event}
    line |= {"mill": mill.key, "pid": os.getpid()}
    line |= {name: _plain(mill, value) for name, value in facts.items()}
    with suppress(OSError):
        private_folder(log_folder(mill))
        with log_path(mill).open("ab") as file:
            file.write(json.dumps(line, ensure_ascii=True).encode() + b"\n")


def rotate(mill: Mill) -> None:
    """Start a new file when this one is full; only for whoever holds the mill's run lock."""
    path = log_path(mill)
    with suppress(OSError):
        if not path.exists() or path.stat().st_size < MOST_BYTES:
            return
        for number in range(MOST_FILES - 1, 0, -1):
            older = path.with_name(f"{path.name}.{number}")
            newer = path if number == 1 else path.with_name(f"{path.name}.{number - 1}")
            if newer.exists():
                newer.replace(older)


def read_log(mill: Mill, most: int = 200) -> list[dict[str, Any]]:
    """Last lines of the log, oldest first; a line cut off by a crash is left out."""
    try:
        lines = log_path(mill).read_text(encoding="utf-8", errors="replace").splitlines()
    except OSError:
        return []
    found = []
    for line in lines[-most:]:
        with suppress(ValueError):
            found.append(json.loads(line))
    return found


def without_secrets(mill: Mill, text: str) -> str:
    """Strike secrets out of a text: values of the environment, passwords in addresses."""
    described = {name for source in mill.sources for name in (source.url_env, source.password_env)}
    for name, value in os.environ.items():
        if len(value) >= 4 and (name in described or _SECRET_NAMES.search(name)):
            text = text.replace(value, _STRUCK)
    text = _IN_ADDRESS.sub(rf"\1:{_STRUCK}@", text)
    return _IN_WORDS.sub(rf"\1\2{_STRUCK}", text)


def _plain(mill: Mill, value: object) -> object:
    if value is None or isinstance(value, bool | int | float):
        return value
    return clean(without_secrets(mill, str(value)), _LONGEST)
