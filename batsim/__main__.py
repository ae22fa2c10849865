"""`python -m batsim` is the same as `batsim`."""

from batsim.cli import main

if __name__ == "__main__":
    main()
