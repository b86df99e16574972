"""``python -m drivesim`` is the command ``drivesim``."""

from drivesim.cli.main import main

if __name__ == "__main__":
    main()
