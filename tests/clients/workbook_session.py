"""Open workbooks in LibreOffice as their user does, change the URL of the service, and print what the cells show.

For Debian's Python, which has uno.

Reads a job as JSON on standard input: soffice, profile (a folder), locale, folder (trusted), workbooks (file names),
service, write (sheet: address: value, optional) and read (sheet: addresses).
Writes, for each workbook, sheet: address: {text, value, error}.
"""

import json
import sys
from pathlib import Path
from typing import Any

from calc_session import with_office
from com.sun.star.beans import PropertyValue

SETTINGS = """<?xml version="1.0" encoding="UTF-8"?>
<oor:items xmlns:oor="http://openoffice.org/2001/registry" xmlns:xs="http://www.w3.org/2001/XMLSchema">
<item oor:path="/org.openoffice.Setup/L10N"><prop oor:name="ooSetupSystemLocale" oor:op="fuse"><value>{locale}</value>
</prop></item>
<item oor:path="/org.openoffice.Office.Common/Security/Scripting"><prop oor:name="SecureURL" oor:op="fuse">
<value><it>{folder}</it></value></prop></item></oor:items>"""
FULL_UPDATE = 3


def show(desktop: Any, path: Path, job: "dict[str, Any]") -> "dict[str, Any]":
    """Open one workbook with its links allowed."""
    how = (PropertyValue(Name="Hidden", Value=True), PropertyValue(Name="UpdateDocMode", Value=FULL_UPDATE))
    document = desktop.loadComponentFromURL(path.as_uri(), "_blank", 0, how)
    sheets = document.getSheets()
    if job["service"]:
        sheets.getByName("Craft").getCellRangeByName("B1").setString(job["service"])
    for name, values in job.get("write", {}).items():
        for address, value in values.items():
            cell = sheets.getByName(name).getCellRangeByName(address)
            cell.setString(value) if isinstance(value, str) else cell.setValue(value)
    if job["service"]:
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


def work(context: Any, job: "dict[str, Any]") -> "dict[str, Any]":
    """Open all workbooks of the job."""
    desktop = context.ServiceManager.createInstanceWithContext("com.sun.star.frame.Desktop", context)
    return {name: show(desktop, Path(job["folder"]) / name, job) for name in job["workbooks"]}


def main() -> None:
    """Do the job."""
    job = json.load(sys.stdin)
    settings = SETTINGS.format(locale=job["locale"], folder=Path(job["folder"]).as_uri())
    json.dump(with_office(job, settings, lambda context: work(context, job)), sys.stdout)


if __name__ == "__main__":
    main()
