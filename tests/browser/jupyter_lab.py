"""Start JupyterLab (or a classic-style notebook) on the loopback and drive it in the Chromium of this machine."""

from __future__ import annotations

import contextlib
import json
import os
import shutil
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from pathlib import Path

from playwright.sync_api import Error

TOKEN = "only-for-this-test"
CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


def _free_port() -> int:
    with socket.socket() as s:
        s.bind(("127.0.0.1", 0))
        return s.getsockname()[1]


@contextlib.contextmanager
def jupyter_lab(root: Path, home: Path, env: dict[str, str], app: str = "jupyterlab"):
    """Run a server over ``root`` with everything it writes under ``home``; yields its address.

    ``app`` is jupyterlab, notebook or nbclassic.
    """
    places = {
        "HOME": "",
        "JUPYTER_CONFIG_DIR": "config",
        "JUPYTER_DATA_DIR": "data",
        "JUPYTER_RUNTIME_DIR": "runtime",
        "IPYTHONDIR": "ipython",
        "JUPYTERLAB_SETTINGS_DIR": "settings",
        "JUPYTERLAB_WORKSPACES_DIR": "workspaces",
    }
    for name, folder in places.items():
        (home / folder).mkdir(parents=True, exist_ok=True)
        env = {**env, name: str(home / folder)}
    news = home / "settings" / "@jupyterlab" / "apputils-extension" / "notification.jupyterlab-settings"
    news.parent.mkdir(parents=True)
    news.write_text(json.dumps({"fetchNews": "false"}), encoding="utf-8")  # or a pop-up covers the lower right
    port = _free_port()
    command = [
        sys.executable,
        "-m",
        app,
        "--no-browser",
        "--allow-root",
        "--ip=127.0.0.1",
        f"--port={port}",
        "--ServerApp.port_retries=0",
        f"--IdentityProvider.token={TOKEN}",
        f"--ServerApp.root_dir={root}",
    ]
    if app == "jupyterlab":
        command += [
            "--LabApp.check_for_updates_class=jupyterlab.NeverCheckForUpdate",
            "--LabApp.extension_manager=readonly",
        ]
    with (home / "server.log").open("wb") as log:
        server = subprocess.Popen(command, env={**os.environ, **env}, stdout=log, stderr=log)
        url = f"http://127.0.0.1:{port}"
        try:
            _wait(f"{url}/api/status?token={TOKEN}", server, home)
            yield url
        finally:
            request = urllib.request.Request(f"{url}/api/shutdown?token={TOKEN}", method="POST")
            with contextlib.suppress(urllib.error.URLError, ConnectionError, TimeoutError):
                urllib.request.urlopen(request, timeout=5).close()
            try:
                server.wait(15)
            except subprocess.TimeoutExpired:
                server.terminate()
                with contextlib.suppress(subprocess.TimeoutExpired):
                    server.wait(15)
                server.kill()  # on a loaded machine it may not have heard yet; it is this test's own
                server.wait(15)


def _wait(url, server, home):
    for _ in range(240):
        if server.poll() is not None:
            break
        with contextlib.suppress(urllib.error.URLError, ConnectionError, TimeoutError):
            urllib.request.urlopen(url, timeout=2).close()
            return
        time.sleep(0.5)
    raise RuntimeError("JupyterLab did not start:\n" + (home / "server.log").read_text("utf-8", "replace")[-2000:])


def open_notebook(page, url: str, name: str, *, view: str = "lab") -> None:
    """Open a notebook and wait for its cells; the view ``doc`` is that of ``qckit lab``, without side bars."""
    page.goto(f"{url}/{view}/tree/{name}?token={TOKEN}&reset", wait_until="domcontentloaded", timeout=90_000)
    page.wait_for_selector(".jp-Notebook .jp-CodeCell", timeout=90_000)
    page.wait_for_selector(".jp-Notebook-ExecutionIndicator[data-status=idle]", timeout=90_000)


def _answer(page) -> None:
    """Close a question of the page's own (on a loaded machine it may ask which kernel to use before one answers)."""
    dialog = page.locator("dialog.jp-Dialog[open], .jp-Dialog:visible")
    if dialog.count():
        with contextlib.suppress(Exception):  # it may close by itself meanwhile
            dialog.first.locator("button.jp-mod-accept").first.click(timeout=3000)
        page.wait_for_timeout(500)


def run_cell(page, index: int, *, timeout_s: float = 120) -> None:
    """Run the code cell at ``index``; the first key press can be swallowed, so it is repeated until the cell ran."""
    cell = page.locator(".jp-Notebook .jp-CodeCell").nth(index)
    prompt = cell.locator(".jp-InputArea .jp-InputPrompt")
    before, until = prompt.inner_text(), time.monotonic() + timeout_s
    while time.monotonic() < until:
        if prompt.inner_text() in (before, "[ ]:"):
            _answer(page)
            with contextlib.suppress(
                Error
            ):  # JupyterLab redraws cells while it settles: the next round finds them anew
                cell.scroll_into_view_if_needed(timeout=15_000)
                cell.locator(".cm-content").click(position={"x": 5, "y": 5}, timeout=15_000)
                page.keyboard.press("Shift+Enter")
        for _ in range(20):
            page.wait_for_timeout(250)
            if prompt.inner_text() not in (before, "[ ]:", "[*]:"):
                return
        while prompt.inner_text() == "[*]:" and time.monotonic() < until:
            page.wait_for_timeout(250)
        if prompt.inner_text() not in (before, "[ ]:"):
            return
    raise AssertionError(f"cell {index} did not run: {prompt.inner_text()}")


def restart_kernel(page):
    """Restart the kernel through the menu."""
    page.locator(".lm-MenuBar-itemLabel", has_text="Kernel").click()
    page.locator(".lm-Menu-itemLabel", has_text="Restart Kernel…").first.click()
    page.locator(".jp-Dialog button.jp-mod-accept").click()
    page.wait_for_function(
        "() => [...document.querySelectorAll('.jp-InputPrompt')].every(p => !p.textContent.includes('*'))"
    )
    page.wait_for_timeout(1500)
    page.wait_for_selector(".jp-Notebook-ExecutionIndicator[data-status=idle]", timeout=60_000)
