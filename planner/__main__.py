"""`python -m planner` is the command `wholedrum`."""

from planner.cli import main

if __name__ == "__main__":
    main()
