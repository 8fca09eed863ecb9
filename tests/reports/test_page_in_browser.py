"""A page of reports in a real browser: it fits a phone and a sheet of A4, and asks nobody for anything."""

import json
import re
import shutil
import subprocess
from base64 import b64decode
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pytest

from reports import report_files
from reports.printing import Units
from tests.reports.fitted import sources

PHONE_PX = 390

QUIET = (
    "--headless",
    "--no-sandbox",  # which a browser run by root has to go without
    "--disable-gpu",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--allow-file-access-from-files",
)

LOOK = """<!DOCTYPE html><body>
<iframe id="phone" src="{page}" style="width:{width}px;height:800px;border:0"></iframe>
<script>
const phone = document.getElementById("phone");
phone.onload = () => {{
  const images = [...phone.contentDocument.images];
  document.title = btoa(JSON.stringify({{
    width: phone.contentDocument.documentElement.scrollWidth,
    images: images.length,
    drawn: images.filter(one => one.naturalWidth > 0).length,
    asked: phone.contentWindow.performance.getEntriesByType("resource").map(one => one.name),
  }}));
}};
</script>"""
"""Shows a page on a phone's width and says what came of it."""


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the page of all reports."""
    folder = tmp_path_factory.mktemp("all")
    return report_files.write_all(folder, report_files.find("all", ()), sources(24), Units("inch"))[0]


def browse(address: Path, profile: Path, options: Sequence[str]) -> str:
    """Open a page in Chromium and return what it says."""
    chromium = shutil.which("chromium")
    assert chromium, "wanted chromium on the path, got none; install it: apt-get install chromium"
    run = subprocess.run(
        [chromium, *QUIET, f"--user-data-dir={profile}", *options, address.as_uri()],
        capture_output=True,
        text=True,
        timeout=120,
        check=True,
    )
    return run.stdout


def look(page: Path, profile: Path) -> dict[str, Any]:
    """Return what a browser finds of a page on a phone: its width, its pictures, and what it asked for."""
    wrapper = page.with_name("phone.html")
    wrapper.write_text(LOOK.format(page=page.name, width=PHONE_PX))
    dom = browse(wrapper, profile, ["--dump-dom", "--virtual-time-budget=10000"])
    told = re.search(r"<title>(.+)</title>", dom)
    assert told, dom[:200]
    found: dict[str, Any] = json.loads(b64decode(told[1]))
    return found


@pytest.mark.slow
def test_asks_nobody(page: Path, tmp_path: Path) -> None:
    """A browser that shows the page asks for nothing besides, by its own list of what was asked for."""
    assert [address for address in look(page, tmp_path)["asked"] if not address.startswith("data:")] == []


@pytest.mark.slow
def test_what_asks_is_seen(tmp_path: Path) -> None:
    """A page that does ask for a picture elsewhere, on this machine, is caught by the same list."""
    asking = tmp_path / "asking.html"
    asking.write_text('<!DOCTYPE html><title>x</title><img src="http://127.0.0.1:9/bow.png" alt="">')

    assert look(asking, tmp_path / "profile")["asked"] == ["http://127.0.0.1:9/bow.png"]


@pytest.mark.slow
def test_fits_a_phone(page: Path, tmp_path: Path) -> None:
    """At 390 px no part of the page but the inside of a table reaches beyond the screen, and each picture is drawn."""
    found = look(page, tmp_path)

    assert found["width"] <= PHONE_PX
    assert found["images"] == found["drawn"] > 0


@pytest.mark.slow
def test_prints_on_a4(page: Path, tmp_path: Path) -> None:
    """Printed, every sheet is A4: 210 by 297 mm (ISO 216) in points, to the point."""
    printed = tmp_path / "reports.pdf"
    browse(page, tmp_path / "profile", [f"--print-to-pdf={printed}", "--no-pdf-header-footer"])
    content = printed.read_bytes()
    sheets = re.findall(rb"/MediaBox\s*\[\s*0 0 ([\d.]+) ([\d.]+)\s*\]", content)

    assert content.startswith(b"%PDF")
    assert len(sheets) > 3
    for width, height in sheets:
        assert float(width) == pytest.approx(210 / 25.4 * 72, abs=1)
        assert float(height) == pytest.approx(297 / 25.4 * 72, abs=1)
