"""`python -m planner` is the command `wholedrum`."""


def main() -> None:
    """Run the command line; Ctrl-C while it still loads leaves as quietly as later."""
    try:
        _see_to_memory()
        from planner.cli import main as command

        command()
    except KeyboardInterrupt:
        import os

        os._exit(130)


def _see_to_memory() -> None:
    """Leave in a sentence where the system allows less memory than the libraries need to load."""
    try:
        from planner.terminal.memory import too_little, watched

        told = too_little()
        if not told:
            watched()
    except (ImportError, MemoryError, OSError):
        told = "There is not enough memory to start wholedrum."
    if told:
        import sys

        print(told, file=sys.stderr)
        raise SystemExit(5)


if __name__ == "__main__":
    main()
