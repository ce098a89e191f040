"""Commands, and what they print."""

from pipeline.cli.start import main
