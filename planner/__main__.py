"""`python -m planner` is the command `wholedrum`."""


def main() -> None:
    """Run the command line; Ctrl-C while it still loads leaves as quietly as later."""
    try:
        from planner.cli import main as command

        command()
    except KeyboardInterrupt:
        raise SystemExit(130) from None


if __name__ == "__main__":
    main()
