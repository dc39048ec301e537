"""A headless Chromium, driven over a pipe by the DevTools protocol: nothing but its own package.

It tells what a page asked the network for, and what it logged.
"""

import base64
import json
import os
import shutil
import subprocess
from contextlib import suppress
from pathlib import Path
from tempfile import TemporaryDirectory

NAMES = ("chromium", "chromium-browser", "google-chrome")
FLAGS = (
    "--headless=new", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage",
    "--no-first-run", "--disable-extensions", "--disable-background-networking",
    "--disable-component-update", "--disable-sync", "--hide-scrollbars",
    "--remote-debugging-pipe",
)  # fmt: skip
READY_S = 15


def find() -> str | None:
    """The browser of this computer."""
    return next(filter(None, map(shutil.which, NAMES)), None)


class Browser:
    """One browser with one page."""

    def __init__(self) -> None:
        program = find()
        assert program, "install the Debian package chromium"
        to_read, self._to = os.pipe()
        self._from, to_write = os.pipe()
        self._profile = TemporaryDirectory(ignore_cleanup_errors=True)
        line = f'exec "$@" 3<&{to_read} 4>&{to_write}'
        profile = f"--user-data-dir={self._profile.name}"
        self._process = subprocess.Popen(
            ["bash", "-c", line, "bash", program, *FLAGS, profile, "about:blank"],
            pass_fds=(to_read, to_write),
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        os.close(to_read)
        os.close(to_write)
        self._count = 0
        self._rest = b""
        self._session = None
        self._loaded = False
        self.requests: list[str] = []
        self.complaints: list[str] = []
        target = self.call("Target.createTarget", url="about:blank")["targetId"]
        attached = self.call("Target.attachToTarget", targetId=target, flatten=True)
        self._session = attached["sessionId"]
        for domain in ("Page", "Runtime", "Log", "Network"):
            self.call(f"{domain}.enable")

    def __enter__(self):
        return self

    def __exit__(self, *_):
        with suppress(OSError, EOFError):
            self._session = None
            self.call("Browser.close")
        self._process.wait(10)
        os.close(self._to)
        os.close(self._from)
        self._profile.cleanup()

    def call(self, method, **params):
        """Ask for something and wait for the answer; what happens meanwhile is noted."""
        self._count += 1
        message = {"id": self._count, "method": method, "params": params}
        if self._session:
            message["sessionId"] = self._session
        os.write(self._to, json.dumps(message).encode() + b"\0")
        while True:
            answer = self._next()
            if answer.get("id") == self._count:
                assert "error" not in answer, (method, answer["error"])
                return answer["result"]
            self._note(answer)

    def _next(self):
        while b"\0" not in self._rest:
            read = os.read(self._from, 1 << 20)
            if not read:
                raise EOFError("the browser is gone")
            self._rest += read
        message, _, self._rest = self._rest.partition(b"\0")
        return json.loads(message)

    def _note(self, event):
        method, params = event.get("method"), event.get("params", {})
        if method == "Page.loadEventFired":
            self._loaded = True
        elif method == "Network.requestWillBeSent":
            self.requests.append(params["request"]["url"])
        elif method == "Log.entryAdded":
            self.complaints.append(params["entry"]["text"])
        elif method == "Runtime.exceptionThrown":
            self.complaints.append(params["exceptionDetails"]["text"])
        elif method == "Runtime.consoleAPICalled" and params["type"] in ("error", "warning"):
            self.complaints.append(str([arg.get("value") for arg in params["args"]]))

    def look(self, width=1100, height=800, dark=False, paper=False, scripts=True):
        """How the page is looked at from now on."""
        self.call(
            "Emulation.setDeviceMetricsOverride",
            width=width, height=height, deviceScaleFactor=1, mobile=False,
        )  # fmt: skip
        scheme = {"name": "prefers-color-scheme", "value": "dark" if dark else "light"}
        self.call("Emulation.setEmulatedMedia", media="print" if paper else "", features=[scheme])
        self.call("Emulation.setScriptExecutionDisabled", value=not scripts)

    def open(self, file: Path, ready="true"):
        """Load a file, and wait until an expression is true in it."""
        self.requests.clear()
        self.complaints.clear()
        self._loaded = False
        self.call("Page.navigate", url=file.resolve().as_uri())
        while not self._loaded:
            self._note(self._next())
        self.until(ready)

    def until(self, expression):
        """Wait in the page until an expression is true. Fails after `READY_S`."""
        waiting = (
            "new Promise((done, late) => { const begun = Date.now(); (function ask() {"
            f"if ({expression}) done(true);"
            f"else if (Date.now() - begun > {READY_S}000) late(new Error('too late'));"
            "else setTimeout(ask, 20); })(); })"
        )
        self.value(waiting)

    def value(self, expression):
        """What an expression comes to in the page, promises waited for."""
        result = self.call(
            "Runtime.evaluate", expression=expression, awaitPromise=True, returnByValue=True
        )
        assert "exceptionDetails" not in result, result["exceptionDetails"]
        return result["result"].get("value")

    def screenshot(self, file: Path, whole=False, clip=None):
        """The page, or what is seen of it, as PNG."""
        more = {"clip": {**clip, "scale": 1}} if clip else {}
        taken = self.call(
            "Page.captureScreenshot", format="png", captureBeyondViewport=whole, **more
        )
        file.write_bytes(base64.b64decode(taken["data"]))

    def pdf(self, file: Path):
        """The page on paper."""
        taken = self.call("Page.printToPDF", preferCSSPageSize=True, printBackground=True)
        file.write_bytes(base64.b64decode(taken["data"]))
