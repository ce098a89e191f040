"""Judge the first hour of a mill with the tool: what ``lostpol describe`` drafts from its exports.

    python tests/benchmarks/first_hour.py
    python tests/benchmarks/first_hour.py --mills 1,4 --why --old HEAD~20 --keep FOLDER

Invented mills (``tests/helpers/first_hour``) export ten days of a simulated station and a
laboratory's book; the draft is judged by its text, and by what the lake holds after each export was
pulled with it. Mills 13 and 14 (``--held-out``) are for the last run: nobody tunes on them. Mills
11 and 12 were held out until they had been judged once.

Columns. *tags*: tags of the station placed right, wrong, not at all. *none*: tags without a place,
set-points among them, that were given one. *unit*, *held*: of the tags placed right, those with the
right unit; with the right interpolation (where only one is right). *lab*: series right, wrong,
missing, and drafted although they are none. *extra*: of the series right, those whose basis and
period are right. *files*: exports held exactly, refused or asked about, held wrong, of which
nothing was drafted. *said*: files that are no exports and are named in the draft or its words; a
star: ``describe`` took the files only after these were left out.

``--wrong`` judges four folders with something wrong in them: whether the draft fell for it, and
whether it speaks of what is wrong.
"""

from __future__ import annotations

import argparse
import shutil
import sys
import tempfile
import time
import tomllib
from collections import Counter
from contextlib import ExitStack
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "helpers"))
sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from first_hour import HELD_OUT, MILLS, Made, make_mill, wrong_on_purpose  # beside this folder
from first_hour.command import ROOT, Drafted, describe, pull_each, tree_of
from first_hour.score_draft import Score, score_lab, score_tags
from first_hour.score_lake import score_files

HEADINGS = f"{'mill':<22}{'tags':>12}{'none':>7}{'unit':>8}{'held':>8}{'lab':>14}{'extra':>8}" \
           f"{'files':>14}{'said':>7}{'s':>6}"  # fmt: skip


def drafted(tree: Path, made: Made, out: Path) -> Drafted:
    """Draft from all files; where that fails, from the exports alone."""
    spec = made.spec
    first = describe(tree, made.files, spec.name, spec.zone, out)
    if first.toml is not None:
        return first
    second = describe(tree, made.exports, spec.name, spec.zone, out)
    return Drafted(second.toml, first.said + second.said, second.seconds, took_all=False)


def judge(tree: Path, made: Made, folder: Path) -> tuple[Score, Drafted]:
    """Draft with a tree, pull with the draft, and count."""
    done = drafted(tree, made, folder / "draft" / "mill.toml")
    text = done.toml.read_text(encoding="utf-8") if done.toml else ""
    raw = tomllib.loads(text)
    whole = Score()
    parts = [score_tags(raw.get("tags", {}), made.truth), score_lab(raw.get("lab", {}), made.truth)]
    if done.toml is not None:
        pulls = pull_each(tree, done.toml, made.exports)
        parts.append(score_files(done.toml, made.truth, pulls))
    else:
        whole.add("no draft", " ".join(done.said.split())[:600])
        whole.counts["file refused"] = len(made.exports)
    for part in parts:
        whole.counts.update(part.counts)
        whole.lines += part.lines
    others = [f.name for f in made.files if f not in made.exports]
    whole.counts["said"] = sum(name in text or name in done.said for name in others)
    whole.counts["others"] = len(others)
    return whole, done


def row(title: str, c: Counter[str], seconds: float, star: str = "") -> str:
    """One line of the table."""
    tags = f"{c['tag right']}/{c['tag wrong']}/{c['tag not placed']}"
    lab = f"{c['lab right']}/{c['lab wrong']}/{c['lab missing']}/{c['lab invented']}"
    files = f"{c['file exact']}/{c['file refused']}/{c['file wrong']}/{c['file idle']}"

    def of(kind: str) -> str:
        return f"{c[kind + ' right']}/{c[kind + ' right'] + c[kind + ' wrong']}"

    none = f"{c['none wrong']}/{c['none all']}"
    return (
        f"{title:<22}{tags:>12}{none:>7}{of('unit'):>8}{of('held'):>8}{lab:>14}{of('extra'):>8}"
        f"{files:>14}{c['said']:>4}/{c['others']}{star:1}{seconds:>6.1f}"
    )


def run_wrong(trees: dict[str, Path], folder: Path) -> None:
    """Say of each folder with something wrong whether the draft fell for it."""
    for title, wrong in wrong_on_purpose(folder / "wrong").items():
        for name, tree in trees.items():
            place = folder / "wrong" / f"{title}_{name}"
            shutil.rmtree(place, ignore_errors=True)
            score, done = judge(tree, wrong.made, place)
            text = done.toml.read_text(encoding="utf-8") if done.toml else ""
            # A series of the book that is none is what two juices in one column become.
            kinds = ("tag wrong", "none wrong", "lab invented", "file wrong")
            fell = [line for line in score.lines if line.startswith(kinds)]
            said = [line for line in text.splitlines() if line.startswith("#")]
            spoken = [line for line in said if any(suspect in line for suspect in wrong.suspects)]
            verdict = "fell for it" if fell else "no draft" if done.toml is None else "did not"
            print(f"{title} {name}: {verdict} ({wrong.what})")
            for line in spoken[:4] or ["# not a word of it"]:
                print(f"    {line[:200]}")
            for line in (*fell, *(x for x in score.lines if x.startswith("no draft"))):
                print(f"    {line[:300]}")


def main() -> int:
    """Print a row a mill, and totals."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--mills", help="numbers, parted by commas; left out: 1 to 12")
    parser.add_argument("--held-out", action="store_true", help="mills 13 and 14, for the last run")
    parser.add_argument("--old", help="a revision whose drafter is judged beside")
    parser.add_argument("--wrong", action="store_true", help="the four folders alone")
    parser.add_argument("--why", action="store_true", help="list all that is not right")
    parser.add_argument("--keep", type=Path, help="folder for exports and drafts")
    given = parser.parse_args()
    numbers = [int(n) for n in given.mills.split(",")] if given.mills else list(MILLS)
    numbers = list(HELD_OUT) if given.held_out else numbers
    if not given.held_out and set(numbers) & set(HELD_OUT):
        parser.error("mills 13 and 14 are held out: --held-out runs both, and nothing else does")
    with ExitStack() as at_end:
        folder = given.keep or Path(at_end.enter_context(tempfile.TemporaryDirectory()))
        trees = {"now": ROOT}
        if given.old:
            away = Path(at_end.enter_context(tempfile.TemporaryDirectory()))
            trees["old"] = at_end.enter_context(tree_of(given.old, away))
        if given.wrong:
            run_wrong(trees, folder)
        else:
            run(numbers, trees, folder, why=given.why)
    return 0


def run(numbers: list[int], trees: dict[str, Path], folder: Path, *, why: bool) -> None:
    """Judge every mill with every tree."""
    totals: dict[str, Counter[str]] = {name: Counter() for name in trees}
    spent = dict.fromkeys(trees, 0.0)
    print(HEADINGS)
    for number in numbers:
        started = time.perf_counter()
        made = make_mill(number, folder / f"mill_{number}" / "exports")
        took = time.perf_counter() - started
        for name, tree in trees.items():
            place = folder / f"mill_{number}" / name
            shutil.rmtree(place, ignore_errors=True)
            score, done = judge(tree, made, place)
            title = f"{number} {made.spec.language} {made.spec.name[:12]}"
            title += f" {name}" if len(trees) > 1 else ""
            print(row(title, score.counts, done.seconds, "" if done.took_all else "*"), flush=True)
            for line in score.lines if why else ():
                print(f"    {line}")
            totals[name].update(score.counts)
            spent[name] += done.seconds
        if why:
            print(f"    made in {took:.1f} s")
    for name, counts in totals.items():
        print(row(f"all {name}", counts, spent[name]))


if __name__ == "__main__":
    sys.exit(main())
