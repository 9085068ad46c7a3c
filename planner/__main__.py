"""`python -m planner` is the command `wholedrum`."""


def main() -> None:
    """Run the command line; Ctrl-C while it still loads leaves as quietly as later."""
    try:
        from planner.cli import main as command

        command()
    except KeyboardInterrupt:
        import os

        os._exit(130)


if __name__ == "__main__":
    main()
