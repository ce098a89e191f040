"""Verdicts and notes given at the desk: the same functions that the commands call, nothing else."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, get_args
from urllib.parse import parse_qs

from pipeline.base import ConfigError, StoreBusyError, only_run
from pipeline.desk.desk import Desk
from pipeline.desk.guard import same
from pipeline.mill import Mill
from pipeline.period import note_of
from pipeline.stages import keep_note, take_back_note
from pipeline.store import Verdict, chosen, give_verdict, published_store_of
from pipeline.words import clean, moment_words, said, verdict_words

#: Longest form taken [bytes].
LONGEST: Final = 65_536
_MOST_FIELDS: Final = 40
_TAKE_BACK: Final = "withdraw"


@dataclass(frozen=True)
class Form:
    """What was typed into a form, each field once."""

    fields: Mapping[str, str]

    def get(self, name: str) -> str:
        """A field; empty where it was left out."""
        return self.fields.get(name, "")


def form_of(body: bytes, kind: str) -> Form:
    """Read a form as browsers send it.

    Raises
    ------
    ConfigError
        It is none.
    """
    if kind.partition(";")[0].strip().lower() != "application/x-www-form-urlencoded":
        raise ConfigError(
            said("This is not a form of the desk."), clean(kind, 60), said("Use its pages.")
        )
    try:
        fields = parse_qs(
            body.decode("ascii"),
            keep_blank_values=True,
            errors="replace",
            max_num_fields=_MOST_FIELDS,
        )
    except ValueError as error:
        raise ConfigError(
            said("This form cannot be read."), "form", said("Use the desk's pages.")
        ) from error
    return Form({name: values[-1] for name, values in fields.items()})


def require_token(desk: Desk, form: Form) -> None:
    """See that a change was asked for by a page of this desk.

    Raises
    ------
    ConfigError
        It was not, or nothing may be changed here.
    """
    if desk.view_only:
        raise ConfigError(
            said("This desk only shows: nothing can be changed here."),
            "--view-only",
            said(
                "Start lostpol desk without --view-only, or use lostpol verdict and lostpol note."
            ),
        )
    if not same(form.get("token"), desk.token):
        raise ConfigError(
            said("The page is older than this desk: it was started again since."),
            said("token of the page"),
            said("Open the page again, then give it once more."),
        )


def decide(desk: Desk, key: str, which: str, form: Form) -> None:
    """Give a verdict, or take back the one that counts.

    Raises
    ------
    LostpolError
        As the command says it; or somebody else gave a verdict since the page was made.
    """
    mill, given = desk.of(key).mill, form.get("verdict")
    if given != _TAKE_BACK and given not in get_args(Verdict):
        cure = said("There are: {names}.", names=", ".join(get_args(Verdict)))
        raise ConfigError(said("There is no such verdict."), clean(given, 40), cure)
    with desk.writing[key]:
        _require_news(mill, which, form.get("seen"))
        verdict: Verdict | None = None if given == _TAKE_BACK else given  # type: ignore[assignment]
        give_verdict(
            mill,
            which,
            verdict,
            form.get("note"),
            form.get("by").strip() or None,
            form.get("cause") or None if verdict in ("confirmed", "fixed") else None,
        )


def _require_news(mill: Mill, which: str, seen: str) -> None:
    """See that nobody said anything of this finding since the page was made."""
    store = published_store_of(mill)
    name = chosen(store.findings(withdrawn=True), which, mill)["finding_id"]
    last = last_verdict_id(store.verdicts().to_dicts(), name)
    if seen == str(last):
        return
    row = next(r for r in reversed(store.verdicts().to_dicts()) if r["finding_id"] == name)
    raise StoreBusyError(
        said(
            "Somebody else was quicker: {verdict} by {author}, {when}.",
            verdict=verdict_words(row["verdict"]),
            author=clean(row["author"], 80),
            when=moment_words(row["given_at"], mill.tz),
        ),
        clean(name, 20) + (f": {clean(row['note'], 300)}" if row["note"] else ""),
        said(
            "Open the finding again: it shows what was said. Yours was not kept; give it again if "
            "it still holds."
        ),
    )


def last_verdict_id(verdicts: list[dict[str, object]], finding_id: str) -> int:
    """Number of the last thing said of a finding; 0 where nothing was."""
    mine = [row["verdict_id"] for row in verdicts if row["finding_id"] == finding_id]
    return max((int(str(number)) for number in mine), default=0)


def note(desk: Desk, key: str, form: Form) -> str:
    """Keep a note, or take one back; what became of it, in words.

    Raises
    ------
    LostpolError
        As the command says it; a run that works on the store must end first.
    """
    mill = desk.of(key).mill
    with desk.writing[key], only_run(mill):
        if which := form.get("withdraw"):
            return " ".join(take_back_note(mill, which))
        typed = {name: form.get(name) for name in ("from", "to", "kind", "text", "by")}
        lines = keep_note(mill, note_of(mill, typed, said("from, to")))
    return " ".join(lines)
