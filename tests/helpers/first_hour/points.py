"""Courses of the simulator by short names, and what each of them is in a description."""

from __future__ import annotations

from first_hour.spec import Point

_IN_OUT = (("liming_tank", "out"), ("liming_tank", "inside"))

#: Short name: tag of the simulator, what it is.
COURSES: dict[str, tuple[str, Point]] = {
    "mj_flow": ("MJ.FI101", Point("flow", "mixed_juice")),
    "mj_temp": ("MJ.TI102", Point("temperature", "mixed_juice")),
    "mj_brix": ("MJ.AI103", Point("brix", "mixed_juice")),
    "mj_ph": ("MJ.AI104", Point("ph", "mixed_juice")),
    "cane": ("ML.WI001", Point("cane_rate", "mill")),
    "imbibition": ("ML.FI002", Point("imbibition_flow", "mill")),
    "ph_temp": ("PH.TI201", Point("temperature", "primary_heater", "out")),
    "lime": ("LT.FI211", Point("lime_flow", "liming_tank", "in")),
    "lj_ph": ("LT.AI212", Point("ph", "liming_tank", "out")),
    "lt_level": ("LT.LI213", Point("level", "liming_tank")),
    "lt_temp": ("LT.TI214", Point("temperature", "liming_tank", "inside", _IN_OUT)),
    "sh_temp": ("SH.TI221", Point("temperature", "secondary_heater", "out")),
    "sh_steam": ("SH.PI222", Point("steam_pressure", "secondary_heater")),
    "ft_temp": (
        "FT.TI231",
        Point("temperature", "flash_tank", "out", (("flash_tank", "inside"), ("settler", "in"))),
    ),
    "st_flow": ("ST.FI301", Point("flow", "settler", "in")),
    "floc": ("ST.FI302", Point("flocculant_flow", "settler", "in")),
    "st_level": ("ST.LI303", Point("level", "settler")),
    "st_temp": ("ST.TI304", Point("temperature", "settler", "inside")),
    "mud_level": ("ST.LI305", Point("mud_level", "settler", "mud", (("settler", ""),))),
    "mud_flow": ("ST.FI306", Point("flow", "settler", "mud")),
    "mud_temp": ("ST.TI307", Point("temperature", "settler", "mud")),
    "cj_ph": ("ST.AI308", Point("ph", "settler", "out")),
    "cj_turb": ("ST.AI309", Point("turbidity", "settler", "out")),
    "cj_cond": ("ST.AI310", Point("conductivity", "settler", "out")),
    "ct_level": ("CT.LI401", Point("level", "clear_juice_tank")),
    "ct_temp": (
        "CT.TI402",
        Point("temperature", "clear_juice_tank", "inside", (("clear_juice_tank", "out"),)),
    ),
    "ct_flow": (
        "CT.FI403",
        Point("flow", "clear_juice_tank", "out", (("clear_juice_heater", "in"),)),
    ),
    "ch_temp": ("CH.TI411", Point("temperature", "clear_juice_heater", "out")),
    "ev_temp": (
        "EV.TI501",
        Point("temperature", "first_evaporator", "inside", (("first_evaporator", "out"),)),
    ),
    "ev_level": ("EV.LI502", Point("level", "first_evaporator")),
    "ev_brix": ("EV.AI503", Point("brix", "first_evaporator", "out")),
    # Not of the simulator: filtrate, hot and a tenth of the juice.
    "filtrate": ("", Point("flow", "filtrate")),
}
#: Places whose tags and series carry no port.
NO_PORT = ("mixed_juice", "mill", "filtrate", "syrup", "filter_cake")
#: Quantities that carry none in a description, or whose port says nothing new.
NO_PORT_QUANTITIES = ("level", "mud_level", "steam_pressure", "lime_flow", "flocculant_flow")

#: Sampling points of the laboratory.
LAB_POINTS: dict[str, tuple[str, str]] = {
    "MJ": ("mixed_juice", ""),
    "LJ": ("liming_tank", "out"),
    "CJ": ("settler", "out"),
    "EJ": ("clear_juice_tank", "out"),
    "SY": ("syrup", ""),
    "FI": ("filtrate", ""),
    "MU": ("settler", "mud"),
    "CA": ("filter_cake", ""),
}
