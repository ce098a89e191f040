"""What people's verdicts teach: how often findings of a kind were borne out, and what follows.

A verdict says that a finding was real (`confirmed`, `fixed`) or was none (`dismissed`), and may
name the cause that was found on the floor. Three things follow for findings of the same kind, and
nothing else:

- their confidence is multiplied by how much more, or less, often such findings turn out real than
  was assumed before anybody looked;
- the strict mark needs more significance where a kind is often dismissed;
- the weights of the causes considered shift towards causes that were found on the floor.

Each effect is bounded, is told in the evidence, and is worked out anew from what the search said,
so that a verdict taken back leaves no trace. No finding is ever removed, and no verdict changes a
tonne.

Sources: the beta-binomial update is textbook material (Gelman et al., Bayesian Data Analysis, 3rd
edition, section 2.4; memory). Prior, caps and tolerance are judgement (estimate).
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from models.search import CONFIDENT, CONFIDENT_Q, LISTED

Row = Mapping[str, Any]

#: Findings assumed real before any verdict, and how many verdicts that belief weighs (estimate).
PRIOR_REAL: Final = 0.9
PRIOR_WEIGHT: Final = 4.0
#: Confidence never falls below this part of what the search said, of a large loss below the other.
LEAST_FACTOR: Final = 0.5
LEAST_FACTOR_LARGE: Final = 0.8
#: A loss whose lower bound reaches this is large: ten times the least worth a line [t].
LARGE_T: Final = 1.5
#: Highest confidence ever claimed, as in ``models.find.rank``.
MOST_CONFIDENCE: Final = 0.99
#: Significance is never asked to be more than this many times stricter.
MOST_STRICTER: Final = 10.0
#: Weight of a cause is changed by at most this factor either way; so many verdicts weigh as much
#: as the search itself.
MOST_SHIFT: Final = 3.0
SHIFT_WEIGHT: Final = 4.0
#: A dismissed loss that has grown by this factor since is shown again.
OUTGROWN: Final = 2.0

_REAL: Final = ("confirmed", "fixed")
_KEY: Final = "verdicts"


@dataclass(frozen=True, slots=True)
class Lesson:
    """What verdicts say of one kind of finding.

    Attributes
    ----------
    real, dismissed : int
        Verdicts on findings of this cause and section.
    reliability : float
        Mean chance that such a finding is real, 0 to 1; `PRIOR_REAL` without any verdict.
    """

    real: int
    dismissed: int
    reliability: float

    def factor(self, *, large: bool) -> float:
        """Factor on the confidence, bounded below so that a loss cannot be talked away."""
        least = LEAST_FACTOR_LARGE if large else LEAST_FACTOR
        return max(self.reliability / PRIOR_REAL, least)

    def stricter(self) -> float:
        """How many times stricter the significance of a sure finding must be, 1 to 10.

        The odds of being false have grown by this factor, so the p-value must shrink by it.
        """
        prior = PRIOR_REAL / (1.0 - PRIOR_REAL)
        odds = self.reliability / max(1.0 - self.reliability, 1e-9)
        return min(max(prior / odds, 1.0), MOST_STRICTER)


@dataclass(frozen=True, slots=True)
class Lessons:
    """Lessons of all verdicts of a mill.

    Attributes
    ----------
    by_kind : dict of (str, str) to tuple of int
        Cause and section to real and dismissed findings.
    turned_out, was_named : dict of str to int
        How often a cause was found on the floor, and how often the search had named it.
    """

    by_kind: dict[tuple[str, str], tuple[int, int]]
    turned_out: dict[str, int]
    was_named: dict[str, int]

    def of(self, cause: str, section: str) -> Lesson:
        """Lesson for one kind: verdicts elsewhere on the same cause are its prior."""
        here = self.by_kind.get((cause, section), (0, 0))
        same = [n for (c, _), n in self.by_kind.items() if c == cause]
        elsewhere = (sum(n[0] for n in same) - here[0], sum(n[1] for n in same) - here[1])
        prior = _mean(PRIOR_REAL, elsewhere)
        return Lesson(*here, _mean(prior, here)) if any(here) else Lesson(*elsewhere, prior)

    def shift(self, cause: str) -> float:
        """Factor on the weight of a cause, from what was named and what was found."""
        found = SHIFT_WEIGHT + self.turned_out.get(cause, 0)
        named = SHIFT_WEIGHT + self.was_named.get(cause, 0)
        return min(max(found / named, 1.0 / MOST_SHIFT), MOST_SHIFT)


def _mean(prior: float, seen: tuple[int, int]) -> float:
    """Mean of a beta distribution after real and dismissed findings were counted."""
    return (PRIOR_WEIGHT * prior + seen[0]) / (PRIOR_WEIGHT + sum(seen))


def learn(verdicts: Sequence[Row]) -> Lessons:
    """Count what people found.

    Parameters
    ----------
    verdicts : sequence of mapping
        One a finding, in any order: ``verdict`` (confirmed, dismissed, fixed), ``cause`` and
        ``section`` as the search named them, ``found_cause`` (what it turned out to be, or None).

    Raises
    ------
    ValueError
        A verdict is none of the three.
    """
    by_kind: dict[tuple[str, str], tuple[int, int]] = {}
    turned_out: dict[str, int] = {}
    was_named: dict[str, int] = {}
    for row in verdicts:
        verdict, cause = row["verdict"], row["cause"]
        if verdict not in (*_REAL, "dismissed"):
            raise ValueError(f"unknown verdict {verdict!r}: confirmed, dismissed or fixed")
        real = verdict in _REAL
        good, bad = by_kind.get((cause, row["section"]), (0, 0))
        by_kind[cause, row["section"]] = (good + real, bad + (not real))
        if real:
            floor = row["found_cause"] or cause
            was_named[cause] = was_named.get(cause, 0) + 1
            turned_out[floor] = turned_out.get(floor, 0) + 1
    return Lessons(by_kind, turned_out, was_named)


def as_found(finding: Row) -> dict[str, Any]:
    """Give a finding as the search left it, without anything that verdicts changed."""
    row = dict(finding) | {"verdict": None}
    evidence = json.loads(row["evidence"])
    if not isinstance(evidence, dict) or _KEY not in evidence:
        return row
    before = evidence.pop(_KEY)["before"]
    if "alternatives" in before:
        evidence["alternatives"] = before.pop("alternatives")
    if isinstance(evidence.get("facts"), list):
        evidence["facts"] = [f for f in evidence["facts"] if not _ours(f)]
    return row | before | {"evidence": _dump(evidence)}


def with_verdicts(
    finding: Row, lessons: Lessons, own: Row | None, strict_q: float = CONFIDENT_Q
) -> dict[str, Any]:
    """Apply what was learned, and a finding's own verdict, to a finding as the search left it.

    Parameters
    ----------
    finding : mapping
        ``section``, ``cause``, ``lost_t`` and ``lost_t_low`` [t], ``confidence``, ``evidence``;
        ``mark`` and ``q_value`` where known.
    lessons : Lessons
    own : mapping or None
        The verdict on this very finding: ``verdict``, ``found_cause``, ``lost_t`` when it was
        given [t], ``said`` (who, when and why, in words), and ``went_on`` (True when the loss
        went on after it was called fixed).
    strict_q : float
        q-value up to which a finding bears the strict mark.

    Returns
    -------
    dict
        The finding, its evidence saying what changed and by how much. The very same values where
        no verdict has a say.
    """
    row = dict(finding)
    evidence = json.loads(row["evidence"])
    if not isinstance(evidence, dict):
        return row | {"verdict": _standing(row, own)}
    before = {"cause": row["cause"], "confidence": row["confidence"]}
    parts: list[str] = []
    if own is not None:  # somebody looked at this very loss: the kind has no say any more
        _apply_own(row, own, parts)
    else:
        lesson = lessons.of(row["cause"], row["section"])
        _weigh_causes(row, evidence, lessons, before, parts)
        if lesson.real or lesson.dismissed:
            _weigh_confidence(row, lesson, parts)
            _weigh_mark(row, lesson, before, parts, strict_q)
    if not parts:
        return row
    if isinstance(evidence.get("facts"), list):
        evidence["facts"] = [*evidence["facts"], *({"text": t, "by": _KEY} for t in parts)]
    evidence[_KEY] = {"before": before, "told": parts}
    return row | {"evidence": _dump(evidence)}


def _weigh_confidence(row: dict[str, Any], lesson: Lesson, parts: list[str]) -> None:
    factor = lesson.factor(large=_large(row))
    was = row["confidence"]
    row["confidence"] = round(min(was * factor, max(was, MOST_CONFIDENCE)), 3)
    parts.append(
        f"of findings of this kind {lesson.real} proved real and {lesson.dismissed} did not: "
        f"confidence {was:.2f} became {row['confidence']:.2f}"
    )


def _weigh_mark(
    row: dict[str, Any], lesson: Lesson, before: dict[str, Any], parts: list[str], strict_q: float
) -> None:
    """Take the strict mark from a finding whose kind needs more significance than it has."""
    q_value, stricter = row.get("q_value"), lesson.stricter()
    if row.get("mark") != CONFIDENT or _large(row) or q_value is None:
        return
    if q_value * stricter > strict_q:
        before["mark"] = row["mark"]
        row["mark"] = LISTED
        parts.append(
            f"its kind was dismissed before and now needs {stricter:.1f} times the significance: "
            "no longer marked as confident"
        )


def _weigh_causes(
    row: dict[str, Any],
    evidence: dict[str, Any],
    lessons: Lessons,
    before: dict[str, Any],
    parts: list[str],
) -> None:
    """Shift the weights of the causes considered; the heaviest names the finding."""
    others = {a["cause"]: float(a["weight"]) for a in evidence.get("alternatives") or []}
    named = row["cause"]
    weights = {named: max(1.0 - math.fsum(others.values()), 0.0)} | others
    shifts = {cause: lessons.shift(cause) for cause in weights}
    if not others or all(shift == 1.0 for shift in shifts.values()):
        return
    total = math.fsum(weights[c] * shifts[c] for c in weights)
    shifted = {c: weights[c] * shifts[c] / total for c in weights}
    heaviest = max(shifted, key=lambda c: (shifted[c], c == named))
    before["alternatives"] = evidence["alternatives"]
    row["cause"] = heaviest
    evidence["alternatives"] = [
        {"cause": c, "weight": round(w, 2)}
        for c, w in sorted(shifted.items(), key=lambda item: (-item[1], item[0]))
        if c != heaviest
    ]
    became = f"weight of {named} {weights[named]:.2f} became {shifted[named]:.2f}"
    change = f"; {heaviest} now weighs most" if heaviest != named else ""
    parts.append(f"after what was found on the floor before, the {became}{change}")


def _apply_own(row: dict[str, Any], own: Row, parts: list[str]) -> None:
    row["verdict"] = _standing(row, own)
    parts.append(str(own["words"]))
    if row["verdict"] in _REAL:
        row["confidence"] = max(row["confidence"], MOST_CONFIDENCE)
    if own["found_cause"] and own["found_cause"] != row["cause"]:
        parts.append(f"the search had named {row['cause']}")
        row["cause"] = own["found_cause"]
    if row["verdict"] == "look_again":
        grown = f"it was {own['lost_t']:.2f} t then and is {row['lost_t']:.2f} t now"
        parts.append(f"look again: {'the loss went on' if own['went_on'] else grown}")


def _standing(row: Row, own: Row | None) -> str | None:
    """What a finding's own verdict is worth now: it does not cover what came later."""
    if own is None:
        return None
    outgrown = own["verdict"] == "dismissed" and row["lost_t"] > OUTGROWN * own["lost_t"]
    return "look_again" if outgrown or own["went_on"] else str(own["verdict"])


def _large(row: Row) -> bool:
    return bool(row["lost_t_low"] >= LARGE_T)


def _ours(item: object) -> bool:
    return isinstance(item, dict) and item.get("by") == _KEY


def _dump(evidence: dict[str, Any]) -> str:
    """Write evidence as the search does, so that what is taken back leaves the same text."""
    return json.dumps(evidence, sort_keys=True)
