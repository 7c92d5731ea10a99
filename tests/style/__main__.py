"""Report where wording breaks the rules: ``PYTHONPATH=tests python -m style [--summary] [FILE]...``.

Without files it checks all that git knows in the checkout. It ends with 1 if there is a finding.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
from collections import Counter
from collections.abc import Iterable
from fnmatch import fnmatch
from pathlib import Path, PurePath

from style.rules import Finding, Rules, check_file, load_rules


def main(arguments: list[str] | None = None) -> int:
    """Print the findings, and return the exit code."""
    parser = argparse.ArgumentParser(prog="style", description="Check wording against tests/style/rules.toml.")
    parser.add_argument("files", nargs="*", type=Path, help="files to check (default: all that git knows)")
    parser.add_argument("--summary", action="store_true", help="print counts by file and by advice instead of lines")
    options = parser.parse_args(arguments)
    findings = check_files(options.files or list_files(), load_rules())
    if options.summary:
        print_summary(findings)
    else:
        for finding in findings:
            print(finding)
    print(f"{len(findings)} findings" if findings else "no findings")
    return 1 if findings else 0


def list_files() -> list[Path]:
    """Return the files of the checkout that git does not ignore."""
    command = ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"]
    listed = subprocess.run(command, check=True, capture_output=True, text=True).stdout
    return [path for name in listed.split("\0") if name and (path := Path(name)).is_file()]


def check_files(paths: Iterable[Path], rules: Rules) -> list[Finding]:
    """Return the findings in files, in order. A file that is not UTF-8 has none."""
    findings: list[Finding] = []
    for path in paths:
        relative = PurePath(path.resolve().relative_to(Path.cwd()) if path.is_absolute() else path)
        if any(fnmatch(str(relative), pattern) for pattern in rules.exclude):
            continue
        try:
            source = path.read_text(encoding="utf-8")
        except UnicodeDecodeError:
            continue
        findings += check_file(relative, source, rules)
    return sorted(findings)


def print_summary(findings: Iterable[Finding]) -> None:
    """Print how many findings each file and each advice has, most first."""
    findings = list(findings)
    for counts in (Counter(each.path for each in findings), Counter(each.advice for each in findings)):
        for name, count in counts.most_common():
            print(f"{count:6} {name}")
        print()


if __name__ == "__main__":
    sys.exit(main())
