"""Marks as plain text: a table of all methods, a line for each mill."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from models.judge.card import SIZES_T, Scorecard

Cell = Callable[[Scorecard], str]


def _share(value: float | None) -> str:
    return "-" if value is None else f"{100.0 * value:.0f} %"


def _fine_share(value: float | None) -> str:
    return "-" if value is None else f"{100.0 * value:.1f} %"


def _number(value: float | None, digits: int = 2) -> str:
    return "-" if value is None else f"{value:.{digits}f}"


def _factor(value: float | None) -> str:
    return "-" if value is None else f"x {value:.2f}"


def _of(pair: tuple[int, int]) -> str:
    return f"{pair[0]} of {pair[1]}"


def _wait(card: Scorecard) -> str:
    if not card.is_nightly:
        return "-"
    return "never" if card.days_to_list is None else f"{card.days_to_list:.1f}"


def _size_row(index: int) -> tuple[str, str, Cell]:
    low = SIZES_T[index]
    name = (
        f"  of {low:g} to {SIZES_T[index + 1]:g} t"
        if index + 1 < len(SIZES_T)
        else f"  of {low:g} t and more"
    )

    def cell(card: Scorecard) -> str:
        row = card.by_size().row(index, named=True)
        return _of((row["found"], row["events"]))

    return name, "", cell


#: What each line shows: its name, what is wanted of lostpol, and the figure.
_LINES: tuple[tuple[str, str, Cell], ...] = (
    ("tonnes found", "90 %", lambda c: _share(c.tonnes_found_share)),
    ("  at <= 0.5 false a week", "90 %", lambda c: _share(c.tonnes_early_share)),
    ("events over 0.5 t touched", "all", lambda c: _of(c.notable)),
    ("events found", "", lambda c: _of((c.found_events, c.loss_events))),
    *(_size_row(i) for i in range(len(SIZES_T))),
    ("false findings a week", "<= 0.5", lambda c: _number(c.false_per_week)),
    ("false tonnes in all claimed", "<= 5 %", lambda c: _fine_share(c.false_tonnes_share)),
    ("look-alikes claimed", "<= 2 %", lambda c: _fine_share(c.confusers_share)),
    ("tonnes wrong by, median", "<= x 1.25", lambda c: _factor(c.factor_error)),
    ("  claimed over planted", "x 1.00", lambda c: _factor(c.factor_bias)),
    ("90 % intervals that hold", "85-95 %", lambda c: _share(c.coverage)),
    ("cause right", "85 %", lambda c: _share(c.cause_accuracy)),
    ("order, NDCG at 10", "0.95", lambda c: _number(c.ndcg)),
    ("days until listed, median", "", _wait),
    ("tonnes listed by 2nd morning", "90 %", lambda c: _share(c.timely_share)),
    ("  found by then", "", lambda c: _share(c.found_timely_share)),
)


def as_text(cards: Mapping[str, Scorecard]) -> str:
    """Lay marks of several methods side by side as plain text.

    Parameters
    ----------
    cards : mapping of str to Scorecard
        By name of the method.

    Returns
    -------
    str
        One column a method, one line a figure, with what is wanted; a dash where a figure does
        not exist.
    """
    rows = [("", "wanted", *cards)]
    for name, wanted, cell in _LINES:
        rows.append((name, wanted, *(cell(card) for card in cards.values())))
    return _laid_out(rows)


def causes_as_text(card: Scorecard) -> str:
    """Lay the marks of one method out by planted cause, one line a cause, as plain text."""
    rows = [("planted cause", "found", "tonnes", "factor", "over planted", "interval", "cause")]
    for cause, part in card.by_cause().items():
        found = (part.found_events, part.loss_events)
        rows.append(
            (
                cause,
                _of(found),
                _share(part.tonnes_found_share),
                _factor(part.factor_error),
                _factor(part.factor_bias),
                _share(part.coverage),
                _share(part.cause_accuracy),
            )
        )
    return _laid_out(rows)


def parts_as_text(what: str, parts: Mapping[str, Mapping[str, Scorecard]]) -> str:
    """Lay out what every method found of parts of the losses, one line a part, as plain text.

    Parameters
    ----------
    what : str
        What the losses are parted by.
    parts : mapping of str to mapping of str to Scorecard
        By part, then by method; all methods have the same events.
    """
    methods = list(next(iter(parts.values()))) if parts else []
    rows = [(what, "events", "planted", *(f"{name}" for name in methods))]
    for part, cards in parts.items():
        first = cards[methods[0]]
        shares = (_share(cards[name].tonnes_found_share) for name in methods)
        rows.append((part, str(first.loss_events), f"{first.planted_t:.1f} t", *shares))
    return _laid_out(rows)


def traits_as_text(
    traits: Mapping[str, tuple[Scorecard, Scorecard | None]],
    beside: Mapping[str, tuple[Scorecard, Scorecard | None]],
    rule: str,
) -> str:
    """Lay out marks of mills with and without each trait, one line a trait, as plain text.

    Parameters
    ----------
    traits, beside : mapping of str to tuple of Scorecard, Scorecard or None
        By trait, of one method and of the rule beside it; with and without.
    rule : str
        Name of that rule.
    """
    rows = [("mills with", "mills", "tonnes", "else", "false/week", "else", "cause", "else", rule)]
    for word, (having, others) in traits.items():
        rows.append(
            (
                word,
                str(len(having.orders)),
                _share(having.tonnes_found_share),
                _share(others.tonnes_found_share) if others else "-",
                _number(having.false_per_week),
                _number(others.false_per_week) if others else "-",
                _share(having.cause_accuracy),
                _share(others.cause_accuracy) if others else "-",
                _share(beside[word][0].tonnes_found_share),
            )
        )
    return _laid_out(rows)


def _laid_out(rows: Sequence[tuple[str, ...]]) -> str:
    """Columns side by side, the first to the left, the others to the right."""
    widths = [max(len(row[i]) for row in rows) for i in range(len(rows[0]))]
    lines = []
    for name, *cells in rows:
        right = (text.rjust(width) for text, width in zip(cells, widths[1:], strict=True))
        lines.append("  ".join([name.ljust(widths[0]), *right]))
    return "\n".join(lines) + "\n"


def as_line(name: str, card: Scorecard) -> str:
    """Marks of one method on one mill in one line."""
    parts = [
        f"tonnes found {_share(card.tonnes_found_share)}",
        f"events {_of((card.found_events, card.loss_events))}",
        f"over 0.5 t touched {_of(card.notable)}",
        f"false/week {_number(card.false_per_week)}",
        f"false tonnes {_share(card.false_tonnes_share)}",
        f"look-alikes {_of((card.confusers_claimed, card.confusers))}",
        f"factor {_factor(card.factor_error)} ({_factor(card.factor_bias)})",
        f"interval {_share(card.coverage)}",
        f"cause {_share(card.cause_accuracy)}",
        f"NDCG {_number(card.ndcg)}",
    ]
    if card.is_nightly:
        parts += [f"days {_wait(card)}", f"2nd morning {_share(card.timely_share)}"]
    return f"{name}: " + ", ".join(parts)
