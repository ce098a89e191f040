"""What may stand in a mill's TOML file, section by section.

These models only know one section each; what contradicts what between sections is the
business of ``pipeline.mill.checks``. Unknown keys are refused, so that a misspelt key never
passes as a default.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, field_validator, model_validator

from features.base import Analyte, Basis, Interpolation, Port, Quantity, VesselKind
from pipeline.base import Readers, figure, said

#: Names of places become column names, hence the narrow alphabet.
PlaceName = Annotated[str, Field(pattern=r"^[a-z][a-z0-9_]*$", max_length=40)]
Percent = Annotated[float, Field(ge=0.0, le=100.0, allow_inf_nan=False)]
Positive = Annotated[float, Field(gt=0.0, allow_inf_nan=False)]
NotNegative = Annotated[float, Field(ge=0.0, allow_inf_nan=False)]
Finite = Annotated[float, Field(allow_inf_nan=False)]
LocalTime = Annotated[str, Field(pattern=r"^([01]\d|2[0-3]):[0-5]\d$")]
_HOST_AND_PORT = r"^([A-Za-z0-9.-]+|\[[0-9A-Fa-f:]+\]):[0-9]{1,5}$"
Weekday = Literal["monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday"]


class Section(BaseModel):
    """A section of the file: frozen, and unknown keys are refused."""

    model_config = ConfigDict(frozen=True, extra="forbid", str_strip_whitespace=True)


class MillSection(Section):
    """Who the mill is, its clock, its store and what sucrose is worth.

    ``lake`` is another folder for readings and features, or the URL of an object store
    (``pipeline.mill.lake_place``); without it they lie in the store. ``readers`` says who may read
    the published copy of the findings besides the user who runs lostpol. ``air_kpa`` is the
    pressure of the air at the mill [kPa], added to gauge pressures.
    """

    name: Annotated[str, Field(min_length=1, max_length=80)]
    key: PlaceName
    zone: str
    ambiguous: Literal["first", "second", "refuse"] = "first"
    missing: Literal["shift_forward", "refuse"] = "shift_forward"
    store: Annotated[str, Field(min_length=1)]
    lake: Annotated[str, Field(min_length=1)] | None = None
    readers: Readers = "owner"
    air_kpa: Annotated[float, Field(ge=50.0, le=110.0)] | None = None
    sucrose_price_per_t: Positive
    currency: Annotated[str, Field(pattern=r"^[A-Z]{3}$")]


class ShiftSection(Section):
    """Local times at which shifts begin, and what they are called."""

    starts: tuple[LocalTime, ...] = ("06:00", "14:00", "22:00")
    names: tuple[str, ...] = ("morning", "afternoon", "night")

    @model_validator(mode="after")
    def _same_length(self) -> ShiftSection:
        if len(self.starts) != len(self.names):
            raise ValueError(
                said(
                    "{starts} starts but {names} names",
                    starts=len(self.starts),
                    names=len(self.names),
                )
            )
        if list(self.starts) != sorted(set(self.starts)):
            raise ValueError(said("starts must rise through the day without repeats"))
        return self


class DetectionSection(Section):
    """How watchful the search for losses is.

    ``false_findings_per_week`` is the rate of findings accepted when nothing is lost;
    ``smallest_finding_t`` is the loss [t sucrose] below which an episode is not worth a line, and
    ``smallest_finding_worth`` the same in the mill's currency; with neither it follows the size of
    the mill (``models.base.smallest``);
    ``look_back_days`` is how much history a nightly run judges again, and the length of the
    periods in which a season is searched.
    """

    false_findings_per_week: Annotated[float, Field(gt=0.0, le=50.0)] = 0.5
    smallest_finding_t: NotNegative | None = None
    smallest_finding_worth: Positive | None = None
    look_back_days: Annotated[int, Field(ge=7, le=366)] = 42

    @model_validator(mode="after")
    def _one_of_two(self) -> DetectionSection:
        if self.smallest_finding_t is not None and self.smallest_finding_worth is not None:
            raise ValueError(said("give smallest_finding_t or smallest_finding_worth, not both"))
        return self


class ScheduleSection(Section):
    """When reports are made, in the mill's local time, and where exports arrive.

    ``wait_min`` is how long a scheduled run waits for another on the same store [min];
    ``longest_run_min`` is when a scheduled run is stopped [min]. ``listen`` is where the server of
    ``lostpol serve`` listens, such as ``127.0.0.1:4242``; None is any free port of 127.0.0.1.
    """

    nightly: LocalTime = "05:00"
    weekly: LocalTime = "05:30"
    weekly_day: Weekday = "monday"
    inbox: str | None = None
    wait_min: Annotated[int, Field(ge=0, le=1440)] = 60
    longest_run_min: Annotated[int, Field(ge=5, le=2880)] = 180
    listen: Annotated[str, Field(pattern=_HOST_AND_PORT)] | None = None

    @field_validator("listen")
    @classmethod
    def _port_exists(cls, value: str | None) -> str | None:
        if value is not None and not 1 <= int(value.rpartition(":")[2]) <= 65535:
            raise ValueError(said("ports run from 1 to 65535"))
        return value


class KeepSection(Section):
    """How long ``lostpol tidy`` keeps what it may delete [days]; None keeps it for ever.

    ``readings_days`` counts back from the last reading and concerns whole seasons only, with what
    was worked out from them; the findings stay. ``reports_days`` counts back from the last report,
    ``refused_days`` and ``logs_days`` from now.
    """

    readings_days: Annotated[int, Field(ge=200)] | None = None
    refused_days: Annotated[int, Field(ge=30)] | None = None
    reports_days: Annotated[int, Field(ge=30)] | None = None
    logs_days: Annotated[int, Field(ge=7)] | None = None


class ClusterSection(Section):
    """The Dask cluster that large backfills may be spread over.

    ``address`` is its scheduler's, such as ``tcp://10.0.0.5:8786``; without one, processes on this
    machine are used. ``workers`` is how many it has; without it, one a core.
    """

    address: Annotated[str, Field(pattern=r"^[a-z]+://\S+$")] | None = None
    workers: Annotated[int, Field(ge=1, le=1000)] | None = None


#: Languages that reports are written in; a country says how it writes numbers and dates.
Language = Annotated[str, Field(pattern=r"^(en|es|pt|fr)(-[A-Z]{2})?$")]


class ReportsSection(Section):
    """How pages, lists and letters are said.

    ``language`` is that of the mill, such as ``es``, or ``es-GT`` for numbers and dates as
    Guatemala writes them; ``temperature`` and ``mass`` are the units that readers want. The search
    and the files for other programs know none of it.
    """

    language: Language = "en"
    temperature: Literal["degC", "degF"] = "degC"
    mass: Literal["t", "short ton"] = "t"


class MailSection(Section):
    """Where the morning report goes. User and password are read from the environment.

    Attributes
    ----------
    start_tls : bool
        Ask for encryption once connected; without it, nothing that has a password is sent.
    tls : bool
        Encrypted from the first byte (usually port 465); then ``start_tls`` does not matter.
    user : str or None
        Name of the mail account, where the environment does not name it.
    languages : dict of str to str
        Recipients who read another language than the mill's, by their address.
    """

    host: Annotated[str, Field(min_length=1)]
    port: Annotated[int, Field(ge=1, le=65535)] = 587
    start_tls: bool = True
    tls: bool = False
    user: str | None = None
    sender: Annotated[str, Field(pattern=r"^[^@\s]+@[^@\s]+$")]
    recipients: Annotated[
        tuple[Annotated[str, Field(pattern=r"^[^@\s]+@[^@\s]+$")], ...], Field(min_length=1)
    ]
    languages: dict[str, Language] = Field(default_factory=dict)

    @model_validator(mode="after")
    def _of_recipients(self) -> MailSection:
        for address in self.languages:
            if address not in self.recipients:
                raise ValueError(
                    said("languages names {address}, who is no recipient", address=address)
                )
        return self


class TargetsSection(Section):
    """What the station aims at."""

    flow_feed_m3_h: Positive
    ph_limed: Annotated[float, Field(ge=4.0, le=12.0)]
    ph_clear: Annotated[float, Field(ge=4.0, le=12.0)]
    brix_pct: Annotated[float, Field(gt=0.0, le=80.0)] = 14.5
    purity_pct: Annotated[float, Field(gt=0.0, le=100.0)] = 84.0
    temp_mixed_degc: Annotated[float, Field(ge=0.0, le=110.0)] = 30.0


class KineticsSection(Section):
    """Site kinetics and their standard errors."""

    multiplier: Positive = 1.5
    multiplier_log_sd: Positive = 0.6
    ph_slope: Annotated[float, Field(ge=-0.05, le=0.0)] = -0.006
    ph_slope_sd: NotNegative = 0.003
    ph_ref_degc: Annotated[float, Field(ge=0.0, le=100.0)] = 25.0
    rs_rate_ph7_1_h: NotNegative = 0.01
    sucrose_per_lactic_kg_kg: NotNegative = 2.5


class FiltrateSection(Section):
    """Filtrate returned to the train; a flow tag at ``filtrate`` wins over its share."""

    share_pct: Annotated[float, Field(ge=0.0, le=40.0)] | None = None
    to: Literal["mixed", "limed"] = "mixed"
    feed_meter: Literal["by_place", "before", "behind"] = "by_place"
    brix_pct: Annotated[float, Field(gt=0.0, le=40.0)] | None = None


class SettlingSection(Section):
    """What no tag tells of flocculant and settling; all of it may be left out.

    ``flocculant_g_l`` is the strength of the solution that the flocculant tag measures [g/L],
    ``pumped_after`` says that juice is pumped between flocculant and settler, ``rate_m_h`` is the
    initial settling rate of a batch test at target Brix and temperature [m/h].
    """

    flocculant_g_l: Annotated[float, Field(gt=0.0, le=50.0)] | None = None
    pumped_after: bool = False
    rate_m_h: Annotated[float, Field(gt=0.0, le=60.0)] | None = None


class PricesSection(Section):
    """What the advice on limed pH needs besides the price of sucrose [currency/t].

    ``reducing_sugar_per_t`` is what a tonne of reducing sugars destroyed costs: it leaves more
    sucrose in molasses, acids that take up lime, and scale. ``lime_per_t`` is lime as CaO. Left
    out, they are taken as 0.6 and 0.3 of the price of sucrose (estimate).
    """

    reducing_sugar_per_t: NotNegative | None = None
    lime_per_t: NotNegative | None = None


class VesselSection(Section):
    """One vessel of the train, ``[[train]]`` in flow order."""

    name: PlaceName
    kind: VesselKind
    step: Annotated[int, Field(ge=1)] | None = None
    volume_m3: Positive
    temp_degc: Annotated[float, Field(ge=0.0, le=150.0)]
    volume_rel_sd: Annotated[float, Field(ge=0.0, le=1.0)] = 0.1
    tanks: Annotated[int, Field(ge=1, le=50)] = 1
    dead_fraction: Annotated[float, Field(ge=0.0, lt=1.0)] = 0.0
    level_pct: Percent = 100.0
    area_m2: Positive | None = None
    mud_volume_m3: NotNegative = 0.0
    mud_level_pct: Percent = 50.0
    mud_flow_m3_h: NotNegative = 0.0
    mud_ph_drop: Annotated[float, Field(ge=-2.0, le=2.0)] = 0.2
    ph_fall_min: Positive = 20.0
    ph_shift: Annotated[float, Field(ge=-1.0, le=1.0)] = 0.0
    brix_pct: Annotated[float, Field(gt=0.0, le=80.0)] | None = None


class _RangeSection(Section):
    unit: str
    range: tuple[Finite, Finite]

    @field_validator("range")
    @classmethod
    def _rises(cls, value: tuple[float, float]) -> tuple[float, float]:
        if value[0] >= value[1]:
            raise ValueError(
                said(
                    "range runs from {low} to {high}: lowest goes first",
                    low=figure(value[0], "g"),
                    high=figure(value[1], "g"),
                )
            )
        return value


class TagSection(_RangeSection):
    """One historian tag, ``[tags."NAME"]``; its range is in its own unit.

    ``height_m`` is the height that counts as full, for levels told as heights; ``density_kg_m3``
    that of what flows, for flows told as mass. ``beside`` names the tag that counts, where this
    one is a second instrument for the same.
    """

    quantity: Quantity
    place: PlaceName
    port: Port = ""
    interpolation: Interpolation = "linear"
    every_s: Positive = 30.0
    longest_gap_min: Positive = 10.0
    basis: Literal["cold", "process"] = "cold"
    beside: str = ""
    height_m: Positive | None = None
    density_kg_m3: Annotated[float, Field(ge=500.0, le=3000.0)] | None = None


class LabSection(_RangeSection):
    """One lab series, ``[lab."NAME"]``; range and ``sd`` are in its own unit.

    ``basis`` is what reducing sugars are a share of, ``period_h`` the hours over which a composite
    sample was gathered.
    """

    analyte: Analyte
    place: PlaceName
    port: Port = ""
    sd: NotNegative = 0.0
    rel_sd: Annotated[float, Field(ge=0.0, le=1.0)] = 0.0
    basis: Basis = "juice"
    period_h: Annotated[float, Field(ge=0.0, le=24.0 * 31.0)] = 0.0
