"""Drafted descriptions of invented mills, with everything a page about them may have to show."""

import numpy as np

from pipeline.describe.draft import Draft, DraftedVessel, Missing
from pipeline.describe.lab import LabGuess
from pipeline.intake.question import FileVerdict, Question
from pipeline.places.guess import POINTS, Guess
from pipeline.places.look import TagLook

BAD = "<script>alert(1)</script>\"'>&amp;{{7*7}}<img src=x onerror=alert(2)>"
#: 2025-10-06 00:00 UTC in minutes since 1970 (computed: 20367 days).
START = 20367 * 1440


def point_at(quantity, place, port):
    return next(p for p in POINTS if (p.quantity, p.place, p.port) == (quantity, place, port))


def tag(name, unit="", *, middle=7.0, n=1200, every_s=1200.0, words="", start=START):
    """A tag that swings about its middle."""
    minute = start + np.arange(n) * max(1, round(every_s / 60.0))
    value = middle + 0.02 * middle * np.sin(np.arange(n) / 30.0)
    low, mid, high = (float(x) for x in np.quantile(value, [0.01, 0.5, 0.99]))
    ones = np.ones(n, dtype=np.int64)
    return TagLook(
        name, unit, n, 3, every_s, low, mid, high, minute.astype(np.int64), ones, value, words=words
    )


def _guesses():
    limed = point_at("ph", "liming_tank", "out")
    setting = tag("LM-AIC-7.SP", "pH", middle=7.6, n=9, every_s=86400.0)
    return (
        Guess(
            tag("MX-FIT-1", "m3/h", middle=240.0),
            point_at("flow", "mixed_juice", ""),
            "likely",
            "unit",
        ),
        Guess(
            tag("LM-AIT-7", "pH", middle=7.6, words="pH after liming"),
            limed,
            "perhaps",
            "unit, level",
        ),
        Guess(
            tag("LM-AIT-7B", "pH", middle=7.7),
            limed,
            "likely",
            "moves with it",
            "second",
            "LM-AIT-7",
        ),
        Guess(
            setting, None, "likely", "steps", "set_point", "LM-AIT-7", "step", "it changes in steps"
        ),
        Guess(
            tag("SD-FIT-2", "", middle=22.0),
            point_at("flow", "settler", "mud"),
            "likely",
            "share of the flow",
        ),
        Guess(tag("SD-AIT-9", "pH"), point_at("ph", "settler", "out"), "likely", "unit"),
        Guess(tag("ROOF-TI-3", "degC", middle=31.0), None, "unsure", "could be temperature"),
    )


def _lab():
    return (
        LabGuess(tag("Claro pH", "pH", n=60, every_s=14400.0), "ph", "settler", "out", why="words"),
        LabGuess(
            tag("Claro RS", "", middle=0.5, n=14, every_s=86400.0),
            "rs",
            "settler",
            "out",
            "solids",
            24.0,
        ),
        LabGuess(tag("Torta pol", "%", n=14, every_s=86400.0), "pol", "filter_cake", ""),
        LabGuess(tag("Boiler silica", "mg/L", n=14, every_s=86400.0), None, None, ""),
    )


def full_draft():
    """Every kind of content once or more, all of it honest."""
    return Draft(
        "",
        _guesses(),
        _lab(),
        (
            FileVerdict("station.csv", "read", "wide, decimal comma", 7, 8400),
            FileVerdict("lab.xlsx", "asked", "one sheet a juice", 4, 102, "laboratory"),
            FileVerdict("holiday_list.pdf", "not read", "it holds no table"),
        ),
        (
            Question(
                "time_zone",
                "lab.xlsx",
                "Are its times local?",
                (("local", "as the clock"), ("UTC", "five hours on")),
                "local",
            ),
            Question(
                "decimal",
                "station.csv",
                "Is 1,204 above a thousand?",
                ((",", "1.204"), (".", "1204")),
                ",",
                given=True,
            ),
        ),
        (
            DraftedVessel("liming_tank", "liming_tank", 20.0, None, guessed=False),
            DraftedVessel(
                "settler",
                "settler",
                300.0,
                200.0,
                guessed=True,
                matters="Half as large again: 45 % more tonnes",
            ),
        ),
        (Missing("turbidity of clear juice", "carry-over is not seen"),),
        "Juniper Flats",
        "America/Chicago",
    )


def hostile_draft():
    """Text that tries to be more than text in every field, and names without an end."""
    limed = point_at("ph", "liming_tank", "out")
    guesses = (
        Guess(tag(BAD, BAD, words=3 * BAD), limed, "unsure", BAD, run=BAD),
        Guess(tag("sp" + BAD, "other"), limed, "unsure", BAD, "set_point", BAD, "step", BAD),
        Guess(tag("N" * 300, "pH"), point_at("ph", "settler", "out"), "perhaps", "w" * 400),
        Guess(tag("\u202eflip\x07</style><svg onload=alert(3)>"), None, "unsure", BAD),
        Guess(tag("alone", "pH"), None, "unsure", "steps", "set_point", "no such tag"),
        Guess(tag("AREA_17_BUILDING_4_JUICE_LINE_2_RAKE_TORQUE_PV", "A"), None, "unsure", "none"),
    )
    lab = (
        LabGuess(tag("L" + BAD, n=40, every_s=7200.0), "rs", "settler", "out", "pol", 24.0, BAD),
        LabGuess(tag("lab x " * 40, n=2, every_s=7200.0), None, None, ""),
    )
    return Draft(
        "",
        guesses,
        lab,
        (FileVerdict(BAD, "not read", BAD), FileVerdict("f" * 200, "asked", "x" * 400, 1, 2, BAD)),
        (Question(BAD, BAD, 4 * BAD, ((BAD, BAD), ("b", "c" * 300)), BAD),),
        (
            DraftedVessel("settler", "settler", 300.0, 200.0, guessed=True, matters=BAD),
            DraftedVessel("x_" * 50, "odd kind", 1e9, None, guessed=False),
        ),
        (Missing(BAD, BAD),),
        BAD,
        "America/Chicago",
    )


def wide_draft(count=200):
    """So many tags that none of them has a place, and no laboratory."""
    tags = (tag(f"PLANT.U{n // 20:02d}.TI{n:04d}", "degC", n=100) for n in range(count))
    return Draft("", tuple(Guess(t, None, "unsure", "fits no free point") for t in tags), ())
