"""How long the command takes to answer; writes reports/startup.md.

python reports/startup.py
"""

import platform
import statistics
import subprocess
import sys
import time
from pathlib import Path

ROOT = Path(__file__).parent.parent
RUNS = 7
ASKED = [
    (["--help"], 0.3),
    (["plan", "--help"], 0.3),
    (["check", "data/demo.xlsx"], 1.5),
    (["check", "data/demo"], 1.5),
]
"""Arguments and the most seconds that we want."""


def seconds(arguments: list[str]) -> list[float]:
    taken = []
    for _ in range(RUNS):
        start = time.perf_counter()
        subprocess.run(
            [sys.executable, "-m", "planner", *arguments],
            cwd=ROOT,
            check=True,
            stdout=subprocess.DEVNULL,
        )
        taken.append(time.perf_counter() - start)
    return sorted(taken)


def main() -> None:
    lines = [
        "# How long the command takes to answer",
        "",
        f"`python reports/startup.py`: {RUNS} runs each, wall seconds, Python"
        f" {platform.python_version()}, files in the system's cache.",
        "",
        "| command | median | slowest | wanted at most |",
        "|---|---|---|---|",
    ]
    missed = False
    for arguments, most in ASKED:
        taken = seconds(arguments)
        median = statistics.median(taken)
        missed |= median > most
        told = f"{median:.2f} | {taken[-1]:.2f} | {most:.1f}"
        lines.append(f"| `wholedrum {' '.join(arguments)}` | {told} |")
    (ROOT / "reports" / "startup.md").write_text("\n".join(lines) + "\n", "utf-8")
    print("\n".join(lines))
    raise SystemExit(missed)


if __name__ == "__main__":
    main()
