"""`python -m planner` is the command `wholedrum`."""


def main() -> None:
    """Run the command line; Ctrl-C while it still loads leaves as quietly as later."""
    try:
        _hear_everywhere()
        _see_to_memory()
        from planner.cli import main as command

        command()
    except KeyboardInterrupt:
        import os

        os._exit(130)


def _hear_everywhere() -> None:
    """Leave also where Ctrl-C comes in a moment in which Python would tell of it and go on."""
    import os
    import sys

    usual = sys.unraisablehook

    def report(what: "sys.UnraisableHookArgs") -> None:
        if isinstance(what.exc_value, KeyboardInterrupt):
            os._exit(130)
        usual(what)

    sys.unraisablehook = report


def _see_to_memory() -> None:
    """Leave in a sentence where the system allows less memory than the libraries need to load."""
    try:
        from planner.terminal.memory import too_little, watched

        report = too_little()
        if not report:
            watched()
    except (ImportError, MemoryError, OSError):
        report = "There is not enough memory to start wholedrum."
    if report:
        import sys

        print(report, file=sys.stderr)
        raise SystemExit(5)


if __name__ == "__main__":
    main()
