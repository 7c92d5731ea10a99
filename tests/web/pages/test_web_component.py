"""Tests of the web component's script: versions, digests, headers."""

from __future__ import annotations

import base64
import hashlib

from flask.testing import FlaskClient

from gramwatt.web.pages.web_component import FOLDER, LATEST, integrity, versions

PUBLISHED = {
    "1.0": "sha384-ccX4iUgjOTwbLRogMfw0m1lyHhDWLTn6C1P99oTMY2Hh+o9HT5GPEZlVx60rSMO+",
    "1.1": "sha384-nwOv0KNaQ00Zqmsz3DcjL5Egecco8iElBsnYf3u9PU1pPYcLzv7eUSHSJIE6hxsa",
}


def test_a_published_version_never_changes() -> None:
    """Pages hold its digest: to change it, add a file with a new version, and its digest here."""
    assert {version: integrity(version) for version in versions()} == PUBLISHED
    assert versions()[-1] == LATEST


def test_the_latest_version_has_two_urls(client: FlaskClient) -> None:
    fixed, newest = client.get(f"/gramwatt-{LATEST}.js"), client.get("/gramwatt.js")
    assert fixed.data == newest.data == (FOLDER / f"{LATEST}.js").read_bytes()
    assert fixed.headers["Cache-Control"] == "public, max-age=31536000, immutable"
    assert newest.headers["Cache-Control"] == "public, max-age=3600"
    for answer in (fixed, newest):
        assert answer.mimetype == "text/javascript"
        assert answer.headers["Access-Control-Allow-Origin"] == "*", "integrity needs it"
        assert answer.headers["Cross-Origin-Resource-Policy"] == "cross-origin"
    digest = base64.b64encode(hashlib.sha384(fixed.data).digest()).decode()
    output = client.get("/v1").get_json()["web_component"]
    assert output == {"script": f"/gramwatt-{LATEST}.js", "integrity": f"sha384-{digest}"}
    assert client.get("/gramwatt-0.0.js").status_code == 404
    assert client.get("/gramwatt-../page.js").status_code == 404
