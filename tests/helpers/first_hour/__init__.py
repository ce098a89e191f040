"""Invented mills and the exports of their first hour with the tool, and what is true of them.

Names, units, layouts and manners of recording are a plant's own, in four languages; readings come
from the project's simulator. All names, people and numbers are invented.
"""

from first_hour.make import HELD_OUT, MILLS, Made, make, make_mill, specs
from first_hour.spec import LabTruth, MillSpec, Point, Truth
from first_hour.wrong_on_purpose import Wrong, wrong_on_purpose
