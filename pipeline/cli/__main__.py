"""The command, by ``python -m pipeline.cli``."""

from pipeline.cli.app import main

main()
