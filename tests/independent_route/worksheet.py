"""Talks to the worksheet program: one line of JSON each way."""

import json
import shlex
import subprocess


def ask(program: str, method: str, cases: list[dict]) -> list[dict]:
    """The answers to many inputs of one method, in order."""
    return [json.loads(line) for line in ask_lines(program, method, as_lines(cases)).splitlines()]


def as_lines(cases: list[dict]) -> bytes:
    """The cases as the program reads them."""
    return "".join(json.dumps(case) + "\n" for case in cases).encode()


def ask_lines(program: str, method: str, lines: bytes, *flags: str) -> bytes:
    """What the program writes."""
    command = [*shlex.split(program), method, *flags]
    return subprocess.run(command, input=lines, capture_output=True, check=True).stdout
