"""The README's pictures, taken from the demo workshop: `python -m tests.browser.pictures`, from the top of the project.

A demo of its own is loaded in a folder that is thrown away; the job sheet is photographed in Chromium, and the table
that the demo prints is set on paper as a terminal shows it, and one card is printed. They lie in `.pictures/`.
"""

from __future__ import annotations

import html
import os
import shutil
import socket
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from urllib.error import URLError
from urllib.request import urlopen

from playwright.sync_api import Browser, sync_playwright

from tests.browser.screen import ARGS

ROOT = Path(__file__).resolve().parents[2]
PICTURES = ROOT / ".pictures"
JOB = "J-1043"  # complete but for one tool, which is away on loan
PRINTED = "J-1041"  # the job whose card is shown
COLUMNS = 118


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def _wait(address: str) -> None:
    for _ in range(300):
        try:
            urlopen(address, timeout=2)
        except (URLError, ConnectionError):
            time.sleep(0.2)
        else:
            return
    raise SystemExit(f"{address} does not answer.")


def terminal(browser: Browser, table: str) -> None:
    """The table as a terminal shows it."""
    page = browser.new_page(viewport={"width": 1180, "height": 400}, device_scale_factor=1.5)
    page.set_content(
        '<body style="margin:0;background:#17191c"><pre style="margin:0;padding:1rem;color:#ece7dc;'
        f'font:14px/1.35 DejaVu Sans Mono,monospace">{html.escape(table)}</pre></body>'
    )
    page.locator("body").screenshot(path=PICTURES / "terminal.png")


def job_sheet(browser: Browser, site: str) -> None:
    """The sheet of one job, as its foreman sees it."""
    page = browser.new_page(viewport={"width": 1180, "height": 900}, base_url=site)
    page.goto(f"/jobs/{JOB}/")
    page.get_by_label("Username").fill("foreman")
    page.get_by_label("Password").fill("threadcrib-demo")
    page.get_by_role("button", name="Log in").click()
    page.get_by_role("heading", level=1).wait_for()
    page.screenshot(
        path=PICTURES / "job-sheet.png", clip={"x": 0, "y": 0, "width": 1180, "height": 1500}, full_page=True
    )


def card(surroundings: dict[str, str], data: Path) -> None:
    """A printed card of the demo, as poppler-utils draws it."""
    printed, shown = data / "card.pdf", PICTURES / "card.png"
    command = [sys.executable, str(ROOT / "manage.py"), "card", PRINTED, "--by", "Cleo Varga", "--out", str(printed)]
    subprocess.run(command, env=surroundings, stdout=subprocess.DEVNULL, check=True)
    drawn = ["pdftoppm", "-png", "-r", "110", "-f", "1", "-singlefile", str(printed), str(shown.with_suffix(""))]
    subprocess.run(drawn, check=True)


def main() -> None:
    PICTURES.mkdir(exist_ok=True)
    data, port = tempfile.mkdtemp(prefix="threadcrib-pictures-"), _free_port()
    surroundings = {**os.environ, "THREADCRIB_DATA": data, "COLUMNS": str(COLUMNS)}
    demo = [sys.executable, str(ROOT / "manage.py"), "demo"]
    try:
        told = subprocess.run(
            [*demo, "--no-serve"], env=surroundings, capture_output=True, text=True, check=True
        ).stdout
        card(surroundings, Path(data))
        served = subprocess.Popen([*demo, "--port", str(port)], env=surroundings, stdout=subprocess.DEVNULL)
        try:
            _wait(f"http://127.0.0.1:{port}/healthz")
            with sync_playwright() as playwright:
                chromium = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
                browser = playwright.chromium.launch(executable_path=chromium, args=ARGS)
                terminal(browser, told[told.index("job ") :])
                job_sheet(browser, f"http://127.0.0.1:{port}")
                browser.close()
        finally:
            served.terminate()
            served.wait()
    finally:
        shutil.rmtree(data, ignore_errors=True)


if __name__ == "__main__":
    main()
