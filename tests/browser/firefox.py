"""Firefox, driven by the protocol that is built into it: WebDriver BiDi (W3C), over a web socket.

Nothing but the browser itself is needed, and ``websockets``.
"""

from __future__ import annotations

import base64
import io
import json
import os
import re
import signal
import subprocess
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from itertools import count
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from websockets.sync.client import ClientConnection

#: Where Debian and others have it.
FIREFOX = ("/usr/bin/firefox-esr", "/usr/bin/firefox")

#: Nothing is asked of the net, and nothing is shown that no test asks for.
PREFERENCES = {
    "app.normandy.enabled": False,
    "app.update.enabled": False,
    "browser.aboutwelcome.enabled": False,
    "browser.shell.checkDefaultBrowser": False,
    "browser.startup.homepage_override.mstone": "ignore",
    "browser.topsites.contile.enabled": False,
    "datareporting.policy.dataSubmissionEnabled": False,
    "extensions.systemAddon.update.enabled": False,
    "extensions.update.enabled": False,
    "network.captive-portal-service.enabled": False,
    "network.connectivity-service.enabled": False,
    "network.dns.disablePrefetch": True,
    "services.settings.server": "data:,#",
    "toolkit.telemetry.reportingpolicy.firstRun": False,
}
#: Keys by the code points that WebDriver gives them.
KEYS = {"Enter": "\ue007", "Escape": "\ue00c", "Left": "\ue012", "Right": "\ue014", "Home": "\ue011", "End": "\ue010"}
PATIENCE_S = 120
PAINTED = """(async () => {
  const frame = () => new Promise(requestAnimationFrame);
  const wanted = () => [...document.images].filter(e => e.currentSrc && (e.loading !== 'lazy' || e.complete));
  do {
    await Promise.all(wanted().map(picture => picture.decode().catch(() => 0)));
    await frame().then(frame);
  } while (!wanted().every(picture => picture.complete));
})()"""


class Firefox:
    """One tab. What its pages complain of on the console is kept in ``complaints``."""

    def __init__(self, socket: ClientConnection) -> None:
        self._socket = socket
        self._numbers = count(1)
        self.complaints: list[str] = []
        self.send("session.new", capabilities={})
        self.send("session.subscribe", events=["log.entryAdded", "network.fetchError"])
        self.tab = self.send("browsingContext.getTree")["contexts"][0]["context"]

    def send(self, method: str, **params: Any) -> dict[str, Any]:
        """A command and its answer; what happens meanwhile is taken down."""
        number = next(self._numbers)
        self._socket.send(json.dumps({"id": number, "method": method, "params": params}))
        while True:
            said = json.loads(self._socket.recv(timeout=PATIENCE_S))
            if said.get("id") == number:
                if said["type"] == "error":
                    raise RuntimeError(f"{method}: {said['error']}: {said['message']}")
                return dict(said["result"])
            self._take_down(said)

    def _take_down(self, said: dict[str, Any]) -> None:
        params = said.get("params", {})
        if said.get("method") == "log.entryAdded" and params["level"] == "error":
            self.complaints.append(params["text"])
        if said.get("method") == "network.fetchError" and params["errorText"] != "NS_BINDING_ABORTED":
            self.complaints.append(f"{params['request']['url']}: {params['errorText']}")

    def open(self, url: str, width: int = 1440, height: int = 900) -> None:
        """The page, loaded, its text set in its face."""
        size = {"width": width, "height": height}
        self.send("browsingContext.setViewport", context=self.tab, viewport=size, devicePixelRatio=1)
        self.send("browsingContext.navigate", context=self.tab, url=url, wait="complete")
        shown = "!document.documentElement.classList.contains('face-coming')"
        self.wait(f"{shown} && document.fonts.status === 'loaded'")

    def evaluate(self, expression: str) -> Any:
        """The value of an expression or of a promise, by way of JSON."""
        said = self.send(
            "script.evaluate",
            expression=f"Promise.resolve({expression}).then(value => JSON.stringify(value) ?? 'null')",
            target={"context": self.tab},
            awaitPromise=True,
        )
        if said["type"] == "exception":
            raise RuntimeError(said["exceptionDetails"]["text"])
        return json.loads(said["result"]["value"])

    def wait(self, condition: str) -> None:
        """Until the condition holds, tried at each frame."""
        self.evaluate(
            f"new Promise((done, lost) => {{ const end = performance.now() + {1000 * PATIENCE_S};"
            f"const look = () => {condition} ? done() : performance.now() > end ? lost(new Error('waited in vain'))"
            " : setTimeout(look, 20); look(); })"
        )

    def press(self, *keys: str) -> None:
        """Keys one after the other: a name of ``KEYS``, or letters."""
        letters = [letter for key in keys for letter in (KEYS.get(key) or key)]
        actions = [{"type": kind, "value": letter} for letter in letters for kind in ("keyDown", "keyUp")]
        self._act({"type": "key", "id": "keyboard", "actions": actions})

    def click(self, selector: str) -> None:
        """The mouse on the middle of the first element that fits."""
        x, y = self.evaluate(
            f"(e => {{ e.scrollIntoView({{block: 'center'}}); const b = e.getBoundingClientRect();"
            f" return [b.x + b.width / 2, b.y + b.height / 2]; }})(document.querySelector({json.dumps(selector)}))"
        )
        button = {"button": 0}
        actions = [{"type": "pointerMove", "x": round(x), "y": round(y)}, {"type": "pointerDown", **button},
                   {"type": "pointerUp", **button}]  # fmt: skip
        self._act({"type": "pointer", "id": "mouse", "actions": actions})

    def _act(self, source: dict[str, Any]) -> None:
        self.send("input.performActions", context=self.tab, actions=[source])

    def screen(self) -> Any:
        """What the window shows, as an array of rows, columns, and red, green, blue from 0 to 255.

        Pictures that were asked for have come and are painted.
        """
        import numpy as np
        from PIL import Image

        self.evaluate(PAINTED)
        said = self.send("browsingContext.captureScreenshot", context=self.tab)
        return np.asarray(Image.open(io.BytesIO(base64.b64decode(said["data"]))).convert("RGB")).astype(int)


@contextmanager
def firefox(program: str, profile: Path) -> Iterator[Firefox]:
    """A Firefox without a window, with a profile of its own in this folder; it ends with the block."""
    from websockets.sync.client import connect

    lines = (f"user_pref({json.dumps(name)}, {json.dumps(value)});" for name, value in PREFERENCES.items())
    (profile / "user.js").write_text("\n".join(lines), encoding="utf-8")
    command = [program, "--headless", "--no-remote", "--profile", str(profile), "--remote-debugging-port", "0"]
    process = subprocess.Popen(
        command,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
        env=os.environ | {"HOME": str(profile), "MOZ_HEADLESS": "1", "MOZ_CRASHREPORTER_DISABLE": "1"},
    )
    try:
        assert process.stderr is not None
        address = next(found[0] for line in process.stderr if (found := re.search(r"ws://[\d.]+:\d+", line)))
        # What it says from now on is read by nobody, and must not fill the pipe.
        threading.Thread(target=process.stderr.read, daemon=True).start()
        with connect(f"{address}/session", max_size=None, open_timeout=PATIENCE_S) as socket:
            yield Firefox(socket)
    finally:
        os.killpg(process.pid, signal.SIGKILL)
        process.wait(PATIENCE_S)
