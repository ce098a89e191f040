"""The handbook: one page to search and browse, made from the sources each time it is asked for."""

from typing import TYPE_CHECKING

from features.base import handed_out

if TYPE_CHECKING:
    from pipeline.handbook.commands import Command, commands_of
    from pipeline.handbook.page import handbook_page, static_file, write_handbook
else:
    __getattr__ = handed_out(__name__, __file__)
