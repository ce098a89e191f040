"""The tags that the invented historian exports, and how each of its instruments behaves."""

from __future__ import annotations

from dataclasses import dataclass, replace


@dataclass(frozen=True, slots=True)
class Tag:
    """One exported tag.

    Attributes
    ----------
    name : str
        Exported name.
    every_s : int
        Sampling interval [s].
    noise : float
        Fast noise, standard deviation in the unit of the tag.
    drift : float
        Slow wander of the instrument, standard deviation (correlation about two days).
    decimals : int
        Digits kept.
    deadband : float
        Change that makes the historian write a value down.
    low, high : float
        Span of the instrument.
    """

    name: str
    every_s: int
    noise: float
    drift: float
    decimals: int
    deadband: float
    low: float
    high: float


TAGS: tuple[Tag, ...] = (
    Tag("MJ.FI101", 10, 1.6, 0.5, 1, 4.0, 0, 400),
    Tag("MJ.TI102", 30, 0.10, 0.1, 1, 0.25, 0, 100),
    Tag("MJ.AI103", 60, 0.05, 0.06, 2, 0.08, 0, 30),
    Tag("MJ.AI104", 30, 0.02, 0.03, 2, 0.04, 0, 14),
    Tag("ML.WI001", 30, 2.5, 0.5, 1, 4.0, 0, 400),
    Tag("ML.FI002", 30, 0.7, 0.2, 1, 1.2, 0, 150),
    Tag("PH.TI201", 30, 0.15, 0.1, 1, 0.25, 0, 150),
    Tag("LT.FI211", 10, 12.0, 8.0, 0, 40.0, 0, 8000),
    Tag("LT.AI212", 10, 0.012, 0.0, 3, 0.03, 0, 14),
    Tag("LT.LI213", 30, 0.25, 0.1, 1, 0.5, 0, 105),
    Tag("LT.TI214", 30, 0.10, 0.1, 1, 0.2, 0, 150),
    Tag("SH.TI221", 10, 0.15, 0.1, 2, 0.35, 0, 150),
    Tag("SH.PI222", 30, 0.8, 0.3, 1, 1.5, 0, 400),
    Tag("FT.TI231", 30, 0.05, 0.05, 2, 0.10, 0, 150),
    Tag("ST.FI301", 10, 1.6, 0.8, 1, 4.0, 0, 400),
    Tag("ST.FI302", 30, 8.0, 4.0, 0, 20.0, 0, 2000),
    Tag("ST.LI303", 60, 0.15, 0.1, 1, 0.4, 0, 105),
    Tag("ST.TI304", 30, 0.06, 0.1, 2, 0.15, 0, 150),
    Tag("ST.LI305", 60, 0.8, 0.8, 1, 1.5, 0, 105),
    Tag("ST.FI306", 30, 0.4, 0.15, 1, 0.8, 0, 100),
    Tag("ST.TI307", 60, 0.10, 0.1, 2, 0.25, 0, 150),
    Tag("ST.AI308", 10, 0.012, 0.03, 3, 0.03, 0, 14),
    Tag("ST.AI309", 30, 0.8, 0.5, 1, 2.0, 0, 200),
    Tag("ST.AI310", 60, 0.02, 0.02, 2, 0.05, 0, 20),
    Tag("CT.LI401", 30, 0.25, 0.1, 1, 0.5, 0, 105),
    Tag("CT.TI402", 30, 0.08, 0.1, 2, 0.2, 0, 150),
    Tag("CT.FI403", 10, 1.6, 0.8, 1, 4.5, 0, 400),
    Tag("CH.TI411", 10, 0.15, 0.1, 2, 0.4, 0, 150),
    Tag("EV.TI501", 30, 0.12, 0.1, 2, 0.3, 0, 150),
    Tag("EV.LI502", 60, 0.6, 0.3, 1, 1.2, 0, 105),
    Tag("EV.AI503", 60, 0.10, 0.08, 2, 0.2, 0, 60),
)

#: Flow of returned filtrate, at mills that meter it.
FILTRATE = Tag("RF.FI601", 30, 0.6, 0.3, 1, 1.2, 0, 120)

#: No historian here samples a tag more seldom than this [s].
_SLOWEST_S = 120


def sampled(tag: Tag, scale: int) -> Tag:
    """Give the same tag at a historian that samples `scale` times as seldom, every 2 min at least.

    Parameters
    ----------
    tag : Tag
    scale : int
        At least 1.
    """
    return replace(tag, every_s=max(tag.every_s, min(scale * tag.every_s, _SLOWEST_S)))
