"""The scorecard command; light to import, as the command line is."""

from __future__ import annotations

import time
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from cyclopts import Parameter, validators

from pipeline.base import ConfigError

if TYPE_CHECKING:
    from collections.abc import Mapping

    from models.judge import NullLine, Scorecard
    from pipeline.proof import MillMarks, Plan

_AtLeastOne = validators.Number(gte=1)
_MILL_WEEKS, _NULL_WEEKS = 6, 8


def scorecard(  # noqa: PLR0913 (each is an option of the command)
    *,
    mills: Annotated[int, Parameter(validator=_AtLeastOne)] = 20,
    seeds: Annotated[list[int] | None, Parameter(consume_multiple=True, negative="")] = None,
    weeks: Annotated[int | None, Parameter(validator=_AtLeastOne)] = None,
    any_mill: Annotated[bool, Parameter(negative="--usual-mill")] = True,
    hard_mill: Annotated[bool, Parameter(negative="")] = False,
    nightly: Annotated[bool, Parameter(negative="")] = False,
    null_card: Annotated[bool, Parameter(negative="")] = False,
    replicates: Annotated[int | None, Parameter(validator=_AtLeastOne)] = None,
    jobs: Annotated[int, Parameter(validator=_AtLeastOne)] = 1,
    json: Path | None = None,
) -> None:
    """Mark lostpol, and simple rules beside it, on simulated mills with planted losses.

    Every mill goes through the same stages as your own. It takes a minute or so a mill, several
    with --nightly.

    With --null-card there are no mills and no losses: the search looks at noise alone, of many
    kinds, and each line says how many false findings a week were asked for in one channel and how
    many came, before anything asks whether they are worth a line. It takes some four minutes.

    Parameters
    ----------
    mills
        How many mills, with seeds that were never looked at while the search was built.
    seeds
        Seeds of the mills, or of the noise, instead; the same seed gives the same mill.
    weeks
        Length of each season (6), or of each series of noise (8).
    any_mill
        Mills from as wide a range as mills differ (--usual-mill: only ones like the demonstration).
    hard_mill
        Such mills with bad manners and habits: long memory, levels moved by hand, filtrate, drifts,
        faults that come and go or come in pairs, missing tags and analyses, biased methods.
    nightly
        Replay every morning of the season too: how soon is a loss on the list?
    null_card
        The rate of false findings asked and got, by kind of noise, instead of mills.
    replicates
        Series a noise (20); only with --null-card.
    jobs
        Mills, or series of noise, worked on at the same time.
    json
        Also write every figure to this file, as JSON.
    """
    from pipeline.cli.terminal import progress_bar, say  # noqa: PLC0415
    from pipeline.proof import Plan, as_json, mark_mills, proof_seeds  # noqa: PLC0415

    _check_seeds(seeds)
    _check_folder(json)
    if null_card:
        of_mills = {"--hard-mill": hard_mill, "--usual-mill": not any_mill, "--nightly": nightly}
        _refuse_mills([option for option, given in of_mills.items() if given])
        _null_card(seeds, replicates, weeks or _NULL_WEEKS, jobs, json)
        return
    if replicates is not None:
        raise ConfigError(
            "Replicates are series of noise, and no noise is asked for.",
            "--replicates",
            "Add --null-card, or say how many mills with --mills.",
        )
    if hard_mill and not any_mill:
        raise ConfigError(
            "A hard mill is never like the demonstration's.",
            "--hard-mill with --usual-mill",
            "Leave one of the two out.",
        )
    weeks = weeks or _MILL_WEEKS
    unseen = proof_seeds(mills, any_mill=any_mill, hard=hard_mill)
    chosen = tuple(dict.fromkeys(seeds)) if seeds else unseen
    plan = Plan(chosen, weeks, any_mill, nightly, jobs, hard=hard_mill)
    began = time.monotonic()
    marked = []
    with progress_bar() as progress:
        for mill in mark_mills(plan, progress):
            say(_line(mill))
            marked.append(mill)
    marked.sort(key=lambda mill: mill.seed)
    together = _summary(plan, marked)
    say(f"{time.monotonic() - began:.0f} s for {len(marked)} mills of {weeks} weeks")
    if json is not None:
        _write(json, as_json(plan, marked, together))


def _check_seeds(seeds: list[int] | None) -> None:
    if seeds and min(seeds) < 0:
        raise ConfigError("A seed is below 0.", "--seeds", "Give seeds of 0 or more.")


def _check_folder(json: Path | None) -> None:
    if json is not None and not json.absolute().parent.is_dir():
        # Told now, not after an hour's work.
        raise ConfigError(
            "The folder for the figures does not exist.",
            str(json),
            "Make it first, or name a file in another folder with --json.",
        )


def _refuse_mills(options: list[str]) -> None:
    if options:
        raise ConfigError(
            "The null card has no mills.",
            f"--null-card with {' and '.join(options)}",
            "Leave one of the two out.",
        )


def _null_card(
    seeds: list[int] | None, replicates: int | None, weeks: int, jobs: int, json: Path | None
) -> None:
    """Say the null card line by line, then what all lines come to."""
    from models.judge import null_head, null_text  # noqa: PLC0415
    from pipeline.cli.terminal import progress_bar, say  # noqa: PLC0415
    from pipeline.proof import NullPlan, null_json, null_lines  # noqa: PLC0415

    plan = NullPlan(weeks=weeks, jobs=jobs)
    plan = replace(plan, replicates=replicates) if replicates else plan
    plan = replace(plan, seeds=tuple(dict.fromkeys(seeds))) if seeds else plan
    began = time.monotonic()
    lines: list[NullLine] = []
    say(null_head())
    with progress_bar() as progress:
        for line in null_lines(plan, progress):
            say(null_text(line))
            lines.append(line)
    say("")
    say(_null_summary(lines))
    say(f"{time.monotonic() - began:.0f} s for {len(plan.drawn)} series a noise of {weeks} weeks")
    if json is not None:
        _write(json, null_json(plan, lines))


def _null_summary(lines: list[NullLine]) -> str:
    from models.judge import KEPT_TIMES, NULL_LEGEND  # noqa: PLC0415

    kept = sum(line.verdict == "yes" for line in lines)
    said = sum(line.verdict == "cannot be calibrated" for line in lines)
    return (
        f"{kept} of {len(lines)} lines keep the rate asked (got between {KEPT_TIMES[0]:.2f} and "
        f"{KEPT_TIMES[1]:g} times), {said} say that they cannot be calibrated.\n{NULL_LEGEND}"
    )


def _line(mill: MillMarks) -> str:
    from models.judge import as_line  # noqa: PLC0415
    from pipeline.proof import LISTED  # noqa: PLC0415

    return as_line(f"mill {mill.seed} ({mill.seconds:.0f} s)", mill.cards[LISTED])


def _summary(plan: Plan, marked: list[MillMarks]) -> dict[str, Scorecard]:
    """Say the marks of all mills together, and what the simulation must be like; return them."""
    from models.judge import as_text, causes_as_text, parts_as_text, pooled  # noqa: PLC0415
    from pipeline.cli.terminal import say  # noqa: PLC0415
    from pipeline.proof import LISTED, THREE_SIGMA  # noqa: PLC0415

    names = list(marked[0].cards)
    together = {name: pooled([mill.cards[name] for mill in marked]) for name in names}
    kind = "drawn from a wide range" if plan.any_mill else "like the demonstration's"
    kind += ", with bad manners and habits," if plan.hard else ","
    say("")
    say(f"{len(marked)} mills {kind} {plan.weeks} weeks each: listed and confident are lostpol's")
    say(as_text(together))
    say(causes_as_text(together[LISTED]))
    say("Share of the planted tonnes found, by cause and by shape, every method:")
    say(parts_as_text("planted cause", _turned({n: c.by_cause() for n, c in together.items()})))
    if plan.hard:
        _say_hard(together, marked)
    easy = together[THREE_SIGMA].tonnes_found_share
    losses = max(mill.loss_share for mill in marked)
    say(
        f"Is it hard enough? 3 sigma per tag finds {100 * easy:.0f} % of the tonnes (at most about "
        f"67 % wanted); planted losses fill {100 * _mean([m.loss_share for m in marked]):.0f} % of "
        f"a season, {100 * losses:.0f} % at most (33 % wanted), look-alikes with them "
        f"{100 * _mean([m.event_share for m in marked]):.0f} %."
    )
    say(
        "An event is found where its findings together and the event share half of the time that "
        "either covers. A loss is the sucrose destroyed with the event less that without it, per "
        "tonne of sucrose fed."
    )
    return together


def _say_hard(together: dict[str, Scorecard], marked: list[MillMarks]) -> None:
    """Say the marks by shape, by manners and habits, and of microbial losses."""
    from models.judge import (  # noqa: PLC0415
        by_trait,
        microbial_by_lactic,
        parts_as_text,
        traits_as_text,
    )
    from pipeline.cli.terminal import say  # noqa: PLC0415
    from pipeline.proof import FIXED_LIMITS, LISTED  # noqa: PLC0415

    say(parts_as_text("shape", _turned({n: c.by_shape() for n, c in together.items()})))
    traits = [mill.traits for mill in marked]
    own, beside = (
        by_trait([mill.cards[name] for mill in marked], traits) for name in (LISTED, FIXED_LIMITS)
    )
    say("Mills with a habit or manner, and all others; last, what fixed limits find there:")
    say(traits_as_text(own, beside, FIXED_LIMITS))
    parted = microbial_by_lactic([m.cards for m in marked], [m.lactic for m in marked])
    named = {True: "with lactic acid", False: "without lactic acid"}
    say(parts_as_text("microbial > 0.5 t", {named[has]: c for has, c in parted.items()}))
    for has, cards in parted.items():
        found = cards[LISTED]
        say(f"{named[has]}: {found.found_events} of {found.loss_events} found by lostpol")


def _turned(parts: Mapping[str, Mapping[str, Scorecard]]) -> dict[str, dict[str, Scorecard]]:
    """By part and method what came by method and part."""
    out: dict[str, dict[str, Scorecard]] = {}
    for method, cards in parts.items():
        for part, card in cards.items():
            out.setdefault(part, {})[method] = card
    return out


def _mean(values: list[float]) -> float:
    return sum(values) / len(values)


def _write(path: Path, text: str) -> None:
    try:
        path.write_text(text + "\n", encoding="utf-8")
    except OSError as error:
        raise ConfigError(
            "The figures could not be written.",
            f"{path}: {error.strerror}",
            "Name a file in a folder you may write to with --json.",
        ) from error
