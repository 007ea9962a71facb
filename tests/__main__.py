"""All tests, on all cores: ``python -m tests [pytest options]``; ``python -m tests quick`` runs what takes little time.

Speeds are measured afterwards, one at a time, since tests that run beside each other would spoil the figures.
"""

import os
import subprocess
import sys

import joblib

BESIDE_EACH_OTHER = ["--dist", "worksteal", "--ignore=tests/benchmarks", "tests"]
ALONE = ["tests/benchmarks"]
NOT_READ = [f"--ignore=tests/{folder}" for folder in ("browser", "cli", "sheets", "trust", "web")]
"""Folders in which no test is quick; that need not be found out one by one."""
QUICK = ["-m", "not slow and not browser and not trust and not doors", "--hypothesis-profile=quick", *NOT_READ]


def main(options: list[str]) -> int:
    """Run both parts, the second also where the first fails, and return the worse exit code."""
    cores = joblib.cpu_count()
    if options[:1] == ["quick"]:
        options, parts = [*QUICK, *options[1:]], [[*BESIDE_EACH_OTHER, f"-n{cores}"]]
    else:  # one process more than there are cores, since tests often wait for a browser or a program
        parts = [[*BESIDE_EACH_OTHER, f"-n{cores + 1}"], ALONE]
    # tests start some hundred programs, and each would compile all that it imports where compiled modules are not kept
    kept = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    runs = ([sys.executable, "-m", "pytest", *options, *part] for part in parts)
    return max(subprocess.run(run, check=False, env=kept).returncode for run in runs)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
