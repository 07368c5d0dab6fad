"""A page in headless Chromium, driven by its DevTools protocol."""
import base64
import json
import os
import pathlib
import signal
import subprocess
import tempfile
import time
import urllib.request

import websocket

FLAGS = ["--headless=new", "--no-sandbox", "--remote-debugging-port=0", "--remote-allow-origins=*",
         "--use-angle=swiftshader", "--enable-unsafe-swiftshader", "--hide-scrollbars", "--no-first-run"]
PATIENCE_S = 60


class Browser:
    def __init__(self, extra=(), shots=None):
        self.shots = shots
        # What Chromium's helper processes still write while they end must not fail a page.
        self.folder = tempfile.TemporaryDirectory(ignore_cleanup_errors=True)
        program = os.environ.get("CHROMIUM", "chromium")
        self.process = subprocess.Popen([program, *FLAGS, *extra, f"--user-data-dir={self.folder.name}", "about:blank"],
                                        stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, start_new_session=True)
        file = pathlib.Path(self.folder.name, "DevToolsActivePort")
        end = time.time() + PATIENCE_S
        while not (file.exists() and file.read_text().count("\n")):
            if time.time() > end or self.process.poll() is not None:
                raise SystemExit("chromium did not start")
            time.sleep(0.1)
        port = file.read_text().split()[0]
        with urllib.request.urlopen(f"http://127.0.0.1:{port}/json") as r:
            target = next(t for t in json.load(r) if t["type"] == "page")
        self.socket = websocket.create_connection(target["webSocketDebuggerUrl"], timeout=PATIENCE_S)
        self.number, self.complaints, self.requests = 0, [], []
        for domain in ["Page", "Runtime", "Network", "Log"]:
            self.call(f"{domain}.enable")

    def close(self):
        self.socket.close()
        self.process.terminate()
        self.process.wait()
        try:
            os.killpg(self.process.pid, signal.SIGKILL)
        except ProcessLookupError:
            pass
        self.folder.cleanup()

    def hear(self, message):
        method, p = message.get("method"), message.get("params", {})
        if method == "Runtime.exceptionThrown":
            self.complaints.append(p["exceptionDetails"].get("exception", {}).get("description", "exception"))
        elif method == "Runtime.consoleAPICalled" and p["type"] in ("error", "warning", "assert"):
            self.complaints.append(str([a.get("value") for a in p["args"]]))
        elif method == "Log.entryAdded" and p["entry"]["level"] == "error":
            self.complaints.append(p["entry"]["text"])
        elif method == "Network.requestWillBeSent":
            self.requests.append(p["request"]["url"])

    def call(self, method, **params):
        self.number += 1
        self.socket.send(json.dumps({"id": self.number, "method": method, "params": params}))
        while True:
            message = json.loads(self.socket.recv())
            if message.get("id") == self.number:
                assert "error" not in message, (method, message["error"])
                return message["result"]
            self.hear(message)

    def ask(self, expression):
        r = self.call("Runtime.evaluate", expression=expression, returnByValue=True, awaitPromise=True)
        assert "exceptionDetails" not in r, r["exceptionDetails"]
        return r["result"].get("value")

    def screen(self, width, height, scheme, media=""):
        self.call("Emulation.setDeviceMetricsOverride", width=width, height=height, deviceScaleFactor=1, mobile=width < 600)
        self.call("Emulation.setEmulatedMedia", media=media, features=[{"name": "prefers-color-scheme", "value": scheme}])

    def open(self, path):
        self.requests.clear()
        self.call("Page.navigate", url=path.resolve().as_uri())
        end = time.time() + PATIENCE_S
        while not self.ask("document.documentElement?.dataset.ready"):
            assert time.time() < end, f"{path} never got ready: {self.complaints}"
            time.sleep(0.1)

    def key(self, key, code=None, text=None):
        code = code or key
        more = {"text": text} if text else {}
        self.call("Input.dispatchKeyEvent", type="keyDown", key=key, code=code, **more)
        self.call("Input.dispatchKeyEvent", type="keyUp", key=key, code=code)

    def shot(self, name, whole=True):
        if self.shots:
            picture = self.call("Page.captureScreenshot", captureBeyondViewport=whole)
            pathlib.Path(self.shots, name).write_bytes(base64.b64decode(picture["data"]))
