"""Looks of tags for the tests of `pipeline.describe`: the sample mill's, renamed and moved."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import lru_cache
from pathlib import Path

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.mill.description import load_mill
from pipeline.places.look import TagLook

ROOT = Path(__file__).resolve().parents[2]
MILL = load_mill(ROOT / "configs" / "demo_mill.toml")
TRUTH = {s.tag: (s.quantity, s.place, s.port) for s in MILL.station.signals}
UNITS = {s.tag: s.unit for s in MILL.station.signals}

Floats = NDArray[np.float64]


def look_of(
    name: str, second: Floats, value: Floats, unit: str = "", words: str = "", bad: int = 0
) -> TagLook:
    """A tag as the reader shows it."""
    second, value = np.asarray(second, float), np.asarray(value, float)
    minute, where, count = np.unique(
        (second // 60).astype(np.int64), return_inverse=True, return_counts=True
    )
    mean = np.bincount(where, value) / count
    low, middle, high = np.quantile(mean, [0.01, 0.5, 0.99])
    every = float(np.median(np.diff(second))) if len(second) > 1 else 60.0
    return TagLook(
        name, unit, len(value) + bad, bad, every, float(low), float(middle), float(high),
        minute, count.astype(np.int64), mean, second[:3000], value[:3000], words,
    )  # fmt: skip


@lru_cache(maxsize=1)
def sample() -> dict[str, tuple[Floats, Floats]]:
    """Good readings of the sample mill's second week by tag: seconds since 1970, values."""
    frame = pl.read_parquet(ROOT / "sample_parquet" / "tags_week2.parquet")
    found = {}
    for part in frame.filter(pl.col("quality") != "bad").partition_by("tag"):
        second = part["time"].dt.epoch("ms").to_numpy() / 1000.0
        found[part["tag"][0]] = (second, part["value"].to_numpy().astype(float))
    return found


def mill_looks(
    names: Mapping[str, str],
    *,
    units: bool = True,
    words: Mapping[str, str] | None = None,
    change: Callable[[str, Floats], tuple[Floats, str]] | None = None,
) -> list[TagLook]:
    """All tags of the sample mill that have a name here.

    Parameters
    ----------
    names : mapping of str to str
        New name by sample tag.
    units : bool
        Whether the export names units.
    words : mapping of str to str, optional
        Words beside the name by sample tag.
    change : callable, optional
        New values and unit of a sample tag.
    """
    looks = []
    for tag, (second, written) in sample().items():
        if tag not in names:
            continue
        value, unit = change(tag, written) if change else (written, UNITS[tag])
        looks.append(
            look_of(names[tag], second, value, unit if units else "", (words or {}).get(tag, ""))
        )
    return looks


def minutes(days: float = 7.0) -> Floats:
    """A time a minute, in seconds since 1970, over the sample's second week."""
    start = min(second[0] for second, _ in sample().values())
    return start + np.arange(0.0, days * 86400.0, 60.0)


def wandering(
    seed: int, level: float, spread: float, noise: float, size: int, stay: float = 0.995
) -> Floats:
    """A measurement that wanders slowly around a level, with noise."""
    rng = np.random.default_rng(seed)
    shocks = rng.normal(0.0, spread * np.sqrt(1.0 - stay**2), size)
    course = np.empty(size)
    last = 0.0
    for n, shock in enumerate(shocks.tolist()):
        last = stay * last + shock
        course[n] = last
    return level + course + rng.normal(0.0, noise, size)


#: The sample's tags in four languages, each in another way of writing.
ENGLISH = dict(zip(sorted(TRUTH), (
    "CJHtr Outlet Temp", "CJ Flow", "CJTk Level", "CJTk Temp", "Evap 1 Brix", "Evap 1 Level",
    "Evap 1 Temp", "Flash Tank Temp", "LJ pH", "MOL Flow", "Liming Tk Lvl", "Liming Tk Temp",
    "MJ Brix", "MJ pH", "MJ Flow", "MJ Temp", "Imbibition Water", "Cane Rate",
    "Pri Htr Outlet Temp", "Sec Htr Steam Press", "Sec Htr Outlet Temp", "CJ pH",
    "CJ Turbidity", "CJ Conductivity",
    "Clarifier Feed Flow", "Floc Flow", "Mud Flow", "Clarifier Level", "Mud Level",
    "Clarifier Temp", "Mud Temp"), strict=True))  # fmt: skip
SPANISH = dict(zip(sorted(TRUTH), (
    "T_CALENT_JC_SAL", "Q_JC", "NIV_TQ_JC", "T_TQ_JC", "BX_EVAP1", "NIV_EVAP1", "T_EVAP1",
    "T_TQ_FLASH", "PH_J_ENCALADO", "Q_LECHADA_CAL", "NIV_TQ_ENCALADO", "T_TQ_ENCALADO",
    "BX_J_MIXTO", "PH_J_MIXTO", "Q_J_MIXTO", "T_J_MIXTO", "Q_AGUA_IMBIB", "MOLIENDA",
    "T_SAL_CALENT_PRIM", "P_VAPOR_CALENT_SEC", "T_SAL_CALENT_SEC", "PH_J_CLARO",
    "TURBIDEZ_J_CLARO", "CONDUCT_J_CLARO", "Q_ENT_CLARIF", "Q_FLOCULANTE", "Q_CACHAZA",
    "NIV_CLARIF", "NIV_LODO_CLARIF", "T_CLARIF", "T_LODO"), strict=True))  # fmt: skip
FRENCH = dict(zip(sorted(TRUTH), (
    "Température sortie réchauffeur jus clair", "Débit jus clair", "Niveau bac jus clair",
    "Température bac jus clair", "Brix 1er effet", "Niveau 1er effet", "Température 1er effet",
    "Température ballon de flash", "pH jus chaulé", "Débit lait de chaux", "Niveau bac de chaulage",
    "Température bac de chaulage", "Brix jus mélangé", "pH jus mélangé", "Débit jus mélangé",
    "Température jus mélangé", "Débit eau d'imbibition", "Broyage de cannes",
    "Température sortie réchauffeur primaire", "Pression vapeur réchauffeur secondaire",
    "Température sortie réchauffeur secondaire", "pH jus clair", "Turbidité jus clair",
    "Conductivité jus clair", "Débit entrée décanteur", "Débit floculant", "Débit boues",
    "Niveau décanteur", "Niveau boues décanteur", "Température décanteur", "Température boues",
    ), strict=True))  # fmt: skip
PORTUGUESE = dict(zip(sorted(TRUTH), (
    "TempSaiAquecCaldoClarif", "VazaoCaldoClarif", "NivelTqCaldoClarif", "TempTqCaldoClarif",
    "BrixPreEvap", "NivelPreEvap", "TempPreEvap", "TempBalaoFlash", "pHCaldoCaleado",
    "VazaoLeiteCal", "NivelTqCaleado", "TempTqCaleado", "BrixCaldoMisto", "pHCaldoMisto",
    "VazaoCaldoMisto", "TempCaldoMisto", "VazaoAguaEmbebicao", "Moagem", "TempSaiAquecPrim",
    "PressVaporAquecSec", "TempSaiAquecSec", "pHCaldoDecantado", "TurbidezCaldoDecantado",
    "CondutividadeCaldoDecantado", "VazaoEntDecantador", "VazaoPolimero", "VazaoLodo",
    "NivelDecantador", "NivelLodoDecantador", "TempDecantador", "TempLodo"),
    strict=True))  # fmt: skip
