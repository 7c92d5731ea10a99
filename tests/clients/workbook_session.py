"""Opens workbooks in LibreOffice as their user does, changes the address of the service, and says what the cells show.
For Debian's Python, which has uno.

Reads a job as JSON on standard input: soffice, profile (a folder), locale, folder (trusted), workbooks (file names),
service, and read (sheet: addresses). Writes, for each workbook, sheet: address: {text, value, error}.
"""

import json
import os
import signal
import subprocess
import sys
from pathlib import Path
from typing import Any

from calc_session import connect
from com.sun.star.beans import PropertyValue

SETTINGS = """<?xml version="1.0" encoding="UTF-8"?>
<oor:items xmlns:oor="http://openoffice.org/2001/registry" xmlns:xs="http://www.w3.org/2001/XMLSchema">
<item oor:path="/org.openoffice.Setup/L10N"><prop oor:name="ooSetupSystemLocale" oor:op="fuse"><value>{locale}</value>
</prop></item>
<item oor:path="/org.openoffice.Office.Common/Security/Scripting"><prop oor:name="SecureURL" oor:op="fuse">
<value><it>{folder}</it></value></prop></item></oor:items>"""
FULL_UPDATE = 3


def show(desktop: Any, path: Path, job: "dict[str, Any]") -> "dict[str, Any]":
    """One workbook, opened with its links allowed."""
    how = (PropertyValue(Name="Hidden", Value=True), PropertyValue(Name="UpdateDocMode", Value=FULL_UPDATE))
    document = desktop.loadComponentFromURL(path.as_uri(), "_blank", 0, how)
    sheets = document.getSheets()
    if job["service"]:
        sheets.getByName("Craft").getCellRangeByName("B1").setString(job["service"])
        document.calculateAll()
    shown = {}
    for name, addresses in job["read"].items():
        cells = {address: sheets.getByName(name).getCellRangeByName(address) for address in addresses}
        shown[name] = {
            address: {"text": cell.getString(), "value": cell.getValue(), "error": cell.getError()}
            for address, cell in cells.items()
        }
    document.close(True)
    return shown


def main() -> None:
    """Start LibreOffice with a profile of its own, do the job, end it."""
    job = json.load(sys.stdin)
    profile, folder = Path(job["profile"]), Path(job["folder"])
    (profile / "user").mkdir(parents=True, exist_ok=True)
    told = SETTINGS.format(locale=job["locale"], folder=folder.as_uri())
    (profile / "user" / "registrymodifications.xcu").write_text(told, encoding="utf-8")
    pipe = f"gramwattbook{os.getpid()}"
    command = [job["soffice"], "--headless", "--norestore", "--nologo", "--nodefault", "--nofirststartwizard"]
    command += [f"-env:UserInstallation={profile.as_uri()}", f"--accept=pipe,name={pipe};urp;"]
    quiet = subprocess.DEVNULL
    process = subprocess.Popen(command, stdin=quiet, stdout=quiet, stderr=quiet, start_new_session=True)
    try:
        context = connect(pipe, process)
        desktop = context.ServiceManager.createInstanceWithContext("com.sun.star.frame.Desktop", context)
        shown = {name: show(desktop, folder / name, job) for name in job["workbooks"]}
        try:
            desktop.terminate()
        except Exception as error:  # the bridge breaks while it answers
            print(f"at the end: {error}", file=sys.stderr)
        process.wait(60)
    finally:
        if process.poll() is None:
            os.killpg(process.pid, signal.SIGKILL)
            process.wait()
    json.dump(shown, sys.stdout)


if __name__ == "__main__":
    main()
