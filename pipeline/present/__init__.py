"""Views of reports, filled from store and lake."""

from pipeline.present.level import LabState, lab_state, level_beware, state_of_series
from pipeline.present.levers import season_levers, shown_levers
from pipeline.present.night import write_night_report
from pipeline.present.view import write_season_report
from pipeline.present.week import write_week_report
