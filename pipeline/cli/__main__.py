"""The command, by ``python -m pipeline.cli``."""

from pipeline.cli.start import main

# Processes that share its work load this file once more, and are not to run it again.
if __name__ == "__main__":
    main()
