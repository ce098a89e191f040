"""Commands, and what they print."""

from pipeline.cli.app import main
