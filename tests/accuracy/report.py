"""How far the calculators are off, computed anew from open data and golden numbers.

    python tests/accuracy/report.py           print the page
    python tests/accuracy/report.py --write   write ACCURACY.md, and the same for the pages of the service

The data are in the folder named by GRAMWATT_REFERENCE_DATA.
"""

import argparse
import os
import sys
from pathlib import Path
from typing import Final

ROOT: Final = Path(__file__).resolve().parents[2]
PAGE: Final = ROOT / "ACCURACY.md"
DATA: Final = ROOT / "service" / "gramwatt" / "web" / "pages" / "accuracy.json"


def main() -> None:
    """Print or write the page."""
    parser = argparse.ArgumentParser(description="Compute ACCURACY.md from open data and golden numbers.")
    parser.add_argument("--write", action="store_true", help="write ACCURACY.md and accuracy.json")
    written = parser.parse_args().write
    folder = Path(os.environ.get("GRAMWATT_REFERENCE_DATA", ROOT.parent / "shared" / "data"))
    if not folder.is_dir():
        raise SystemExit(f"no open reference data at {folder}; set GRAMWATT_REFERENCE_DATA to the folder that holds it")
    sys.path[:0] = [str(ROOT / "service"), str(ROOT / "tests")]
    from accuracy.page import Report

    report = Report.compute(folder)
    if written:
        PAGE.write_text(report.to_markdown(), encoding="utf-8")
        DATA.write_text(report.to_json(), encoding="utf-8")
    else:
        print(report.to_markdown(), end="")


if __name__ == "__main__":
    main()
