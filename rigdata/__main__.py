"""``python -m rigdata`` is ``rigdata``."""

from rigdata.cli.main import main

if __name__ == "__main__":
    main(prog_name="rigdata")
