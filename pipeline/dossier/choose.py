"""Which lanes are shown at first: what the sentence names, then what tells most about the cause."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from features.flow import probe_signal
from pipeline.dossier.drawable import drawable_lanes
from pipeline.dossier.gather import Material
from pipeline.dossier.lanes import LOSS_KEY, Lane
from pipeline.dossier.words import TELLING

#: Longest list of lanes shown at first.
_SHOWN = 9


def lanes_of(material: Material) -> list[Lane]:
    """All lanes that can be drawn, the loss first, then in the order the juice flows."""
    return _chosen(material, drawable_lanes(material))


def named_shown(lanes: list[Lane], named: Sequence[str]) -> list[Lane]:
    """Lanes with those that the sentence names first among the shown, behind the loss.

    Parameters
    ----------
    lanes : list of Lane
    named : sequence of str
        Keys, the first one first.
    """
    wanted = set(named)
    chosen = [replace(lane, shown=True) for key in named for lane in lanes if lane.key == key]
    rest = [lane for lane in lanes if lane.key not in wanted]
    head = [lane for lane in rest if lane.key == LOSS_KEY]
    others = [lane for lane in rest if lane.key != LOSS_KEY]
    room = _SHOWN - len(head) - len(chosen)
    kept = {lane.key for lane in [x for x in others if x.shown][: max(room, 0)]}
    return [*head, *chosen, *(replace(lane, shown=lane.key in kept) for lane in others)]


def _chosen(material: Material, lanes: list[Lane]) -> list[Lane]:
    """Show first what tells most about the cause, and no more than the eye can take in."""
    cause, section = str(material.finding["cause"]), str(material.finding["section"])
    telling = TELLING.get(cause, frozenset({"ph", "lime_flow"}))
    vessel = section.partition(":")[0]

    def place(lane: Lane) -> int:
        signal = lane.signal
        if lane.key == LOSS_KEY:
            return 0
        if signal is None:
            return 1 if cause == "microbial" and "lactic" in lane.what else 9
        if signal.quantity in telling:
            return 1
        if signal.place == vessel:
            return 2
        if signal.quantity == "flow" and signal.place == "mixed_juice":
            return 2
        return 3 if signal == probe_signal(material.station, "clear") else 9

    # A second instrument says again what the lane of the first says.
    once = [lane for lane in lanes if lane.signal is None or not lane.signal.beside]
    best = sorted((lane for lane in once if place(lane) < 9), key=place)[:_SHOWN]
    keys = {lane.key for lane in best}
    return [replace(lane, shown=lane.key in keys) for lane in lanes]
