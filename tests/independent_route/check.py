#!/usr/bin/env python3
"""Asks published libraries the questions our worksheets answer, on random cases, and compares.

    tests/independent_route/check.py                      every method, 200 cases each
    tests/independent_route/check.py --method weibull_fit --cases 1000 --seed 7
    tests/independent_route/check.py --speed              how long we take against them, same cases

The seed is printed, so that any run can be had again. The libraries live in an environment of their
own, thrown away afterwards unless --environment names a folder to keep it in. Exits with 1 when any
figure lies further from theirs than the method's tolerance.
"""

import argparse
import os
import secrets
import shlex
import subprocess
import sys
import tempfile
import venv
from pathlib import Path

HERE = Path(__file__).resolve().parent
REPOSITORY = HERE.parent.parent


def main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--method", action="append", help="only this one; may be repeated")
    parser.add_argument("--cases", type=int, default=200, help="random cases per method")
    parser.add_argument("--seed", type=int, default=None, help="otherwise drawn, and printed")
    parser.add_argument("--speed", action="store_true", help="compare times instead of figures")
    parser.add_argument("--program", help="a worksheet program with its first arguments; otherwise it is built")
    parser.add_argument("--environment", type=Path, help="folder to keep the libraries in")
    options = parser.parse_args()

    program = options.program or build()
    seed = secrets.randbelow(2**32) if options.seed is None else options.seed
    arguments = [str(HERE / "compare.py"), program, str(seed), str(options.cases), *(options.method or [])]
    if options.speed:
        arguments[0] = str(HERE / "speed.py")
    if options.environment:
        return run(options.environment, arguments)
    with tempfile.TemporaryDirectory() as folder:
        return run(Path(folder), arguments)


def build() -> str:
    """The worksheet program, optimised: its speed is part of the question."""
    command = ["cargo", "build", "--quiet", "--release", "--package", "dropwise-core"]
    command += ["--features", "worksheets", "--example", "worksheet"]
    subprocess.run(command, cwd=REPOSITORY, check=True)
    target = Path(os.environ.get("CARGO_TARGET_DIR", REPOSITORY / "target"))
    return shlex.quote(str(target / "release" / "examples" / "worksheet"))


def run(folder: Path, arguments: list[str]) -> int:
    python = folder / "bin" / "python"
    if not python.exists():
        venv.create(folder, with_pip=True)
    requirements = str(HERE / "requirements.txt")
    subprocess.run([python, "-m", "pip", "install", "--quiet", "--requirement", requirements], check=True)
    return subprocess.run([python, *arguments], cwd=HERE, check=False).returncode


if __name__ == "__main__":
    sys.exit(main())
