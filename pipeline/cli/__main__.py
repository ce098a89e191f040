"""The command, by ``python -m pipeline.cli``."""

from pipeline.cli.start import main

main()
