"""Pages and lists in the reader's tongue: catalogues, numbers, dates, units."""

from typing import TYPE_CHECKING

from features.base import handed_out

if TYPE_CHECKING:
    from pipeline.tongue.pictured import InTongue, speaking, written_in
    from pipeline.tongue.template import messages, translated
    from pipeline.tongue.tongue import ENGLISH, LANGUAGES, Tongue, tongue_of
    from pipeline.tongue.units import Units
else:
    __getattr__ = handed_out(__name__, __file__)
