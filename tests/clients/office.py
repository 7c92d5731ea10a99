"""LibreOffice, by Debian's Python, which alone has its binding: a job in, what the cells show out."""

import json
import subprocess
from pathlib import Path
from typing import Any, Final

from clients.running import environment, missing, need

WRITTEN_FOR: Final = "http://127.0.0.1:8000"
DEBIANS_PYTHON: Final = "/usr/bin/python3"
HERE: Final = Path(__file__).parent


def need_uno() -> None:
    """Return Debian's Python with its binding to LibreOffice."""
    tried = (
        subprocess.run([DEBIANS_PYTHON, "-c", "import uno"], capture_output=True)
        if Path(DEBIANS_PYTHON).exists()
        else None
    )
    if tried is None or tried.returncode != 0:
        missing("python3-uno")


def office(session: str, profile: Path, locale: str, **job: Any) -> Any:
    """Run a session (``calc_session.py``, ``workbook_session.py``) in a profile and a locale; return its output."""
    need_uno()
    request = {"soffice": need("soffice"), "profile": str(profile), "locale": locale, **job}
    ran = subprocess.run(
        [DEBIANS_PYTHON, str(HERE / session)],
        input=json.dumps(request),
        capture_output=True,
        text=True,
        encoding="utf-8",
        env=environment(PYTHONUTF8="1"),
        timeout=300,
        check=False,
    )
    assert ran.returncode == 0, ran.stderr
    return json.loads(ran.stdout)
