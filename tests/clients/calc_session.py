"""Run LibreOffice once, fill sheets and print what their cells show. For Debian's Python, which has uno.

Reads a job as JSON on standard input: soffice, profile (a folder), locale, basic (a module's code), and sheets, each
with cells (address: content, "=..." a formula), perhaps run (a script's URI) and select (a range), and read
(addresses). Writes a list with, for each sheet, address: {text, value, error}.
"""

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import uno

SETTINGS = """<?xml version="1.0" encoding="UTF-8"?>
<oor:items xmlns:oor="http://openoffice.org/2001/registry" xmlns:xs="http://www.w3.org/2001/XMLSchema">
<item oor:path="/org.openoffice.Setup/L10N"><prop oor:name="ooSetupSystemLocale" oor:op="fuse"><value>{}</value></prop>
</item></oor:items>"""


def connect(pipe: str, process: "subprocess.Popen[bytes]") -> Any:
    """Return LibreOffice's component context, once it listens."""
    here = uno.getComponentContext()
    not_ready = uno.getClass("com.sun.star.connection.NoConnectException")
    resolver = here.ServiceManager.createInstanceWithContext("com.sun.star.bridge.UnoUrlResolver", here)
    for _ in range(600):
        try:
            return resolver.resolve(f"uno:pipe,name={pipe};urp;StarOffice.ComponentContext")
        except not_ready:
            if process.poll() is not None:
                break
            time.sleep(0.1)
    raise SystemExit("LibreOffice does not listen")


def fill(cell: Any, content: str) -> None:
    """Put a formula, a number or a text into a cell."""
    try:
        cell.setValue(float(content))
    except ValueError:
        if content.startswith("="):
            cell.setFormula(content)
        else:
            cell.setString(content)


def play(document: Any, sheet: Any, job: "dict[str, Any]") -> "dict[str, Any]":
    """Fill one sheet, run its script if it has one, and read it."""
    for address, content in job["cells"].items():
        fill(sheet.getCellRangeByName(address), content)
    if "run" in job:
        document.getCurrentController().select(sheet.getCellRangeByName(job["select"]))
        provider = document.getScriptProvider()
        provider.getScript(job["run"]).invoke((), (), ())
    shown = {}
    for address in job["read"]:
        cell = sheet.getCellRangeByName(address)
        shown[address] = {"text": cell.getString(), "value": cell.getValue(), "error": cell.getError()}
    return shown


def work(context: Any, job: "dict[str, Any]") -> "list[dict[str, Any]]":
    """Fill all sheets of the job in one new document."""
    manager = context.ServiceManager
    libraries = manager.createInstanceWithContext("com.sun.star.script.ApplicationScriptLibraryContainer", context)
    libraries.getByName("Standard").insertByName("CellFunctions", job["basic"])
    desktop = manager.createInstanceWithContext("com.sun.star.frame.Desktop", context)
    document = desktop.loadComponentFromURL("private:factory/scalc", "_blank", 0, ())
    sheets = document.getSheets()
    shown = []
    for index, sheet_job in enumerate(job["sheets"]):
        sheets.insertNewByName(f"Job {index}", index)
        shown.append(play(document, sheets.getByIndex(index), sheet_job))
    document.close(True)
    return shown


def with_office(job: "dict[str, Any]", settings: str, work: "Callable[[Any], Any]") -> Any:
    """Start LibreOffice with a profile of its own, let it work, end it, and return the output."""
    profile = Path(job["profile"])
    (profile / "user").mkdir(parents=True, exist_ok=True)
    (profile / "user" / "registrymodifications.xcu").write_text(settings, encoding="utf-8")
    pipe = f"gramwatt{os.getpid()}"
    command = [job["soffice"], "--headless", "--norestore", "--nologo", "--nodefault", "--nofirststartwizard"]
    command += [f"-env:UserInstallation={profile.as_uri()}", f"--accept=pipe,name={pipe};urp;"]
    quiet = subprocess.DEVNULL
    process = subprocess.Popen(command, stdin=quiet, stdout=quiet, stderr=quiet, start_new_session=True)
    try:
        context = connect(pipe, process)
        made = work(context)
        try:
            context.ServiceManager.createInstanceWithContext("com.sun.star.frame.Desktop", context).terminate()
        except Exception as error:  # the bridge breaks while it answers
            print(f"at the end: {error}", file=sys.stderr)
        process.wait(60)
        return made
    finally:
        if process.poll() is None:
            os.killpg(process.pid, signal.SIGKILL)
            process.wait()


def main() -> None:
    """Do the job."""
    job = json.load(sys.stdin)
    json.dump(with_office(job, SETTINGS.format(job["locale"]), lambda context: work(context, job)), sys.stdout)


if __name__ == "__main__":
    main()
