"""A door for notebooks: a mill's minutes, readings, findings and answers as Polars frames."""

from pipeline.notebook.mill import NotebookMill, open_mill
from pipeline.notebook.told import Told
