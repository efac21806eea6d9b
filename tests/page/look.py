"""Looks at a page of `marklag page` in a headless Chromium (standard library only).

    python3 look.py PAGE.html [FOLDER-FOR-PICTURES]

At 360 and 1280 pixels, in light and in dark: nothing wider than the window, no
words of a picture cut off or upon each other, contrast of all text at least 4.5
(WCAG 2.2, 1.4.3; 3 for large text), each picture with its words, nothing fetched
but the file itself, no script; then it is printed to PDF. Chromium is spoken to over
its own pipe (the DevTools protocol: JSON, each message ended by a zero byte).
"""

import base64
import json
import os
import pathlib
import shutil
import subprocess
import sys
import tempfile

CONTRAST = """
(() => {
  // Relative luminance and contrast as WCAG 2.2 defines them.
  const parts = (css) => {
    const found = css.match(/rgba?\\(([^)]+)\\)/);
    return found ? found[1].split(/[ ,\\/]+/).map(Number) : null;
  };
  const luminance = ([r, g, b]) => [r, g, b]
    .map((v) => v / 255)
    .map((c) => (c <= 0.04045 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4))
    .reduce((sum, c, k) => sum + c * [0.2126, 0.7152, 0.0722][k], 0);
  const ground = (element) => {
    for (let at = element; at; at = at.parentElement) {
      const colour = parts(getComputedStyle(at).backgroundColor);
      if (colour && (colour.length < 4 || colour[3] === 1)) return colour;
    }
    return [255, 255, 255];
  };
  const bad = [];
  let looked = 0;
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walker.nextNode()) {
    const element = walker.currentNode.parentElement;
    if (!walker.currentNode.data.trim()) continue;
    if (["TITLE", "DESC", "STYLE"].includes(element.tagName.toUpperCase())) continue;
    const style = getComputedStyle(element);
    const is_svg = element instanceof SVGElement;
    const colour = parts(is_svg ? style.fill : style.color);
    const [a, b] = [luminance(colour), luminance(ground(element))];
    const ratio = (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
    const px = parseFloat(style.fontSize);
    const large = px >= 24 || (px >= 18.66 && style.fontWeight >= 700);
    looked += 1;
    if (ratio < (large ? 3 : 4.5)) bad.push([walker.currentNode.data.trim(), ratio]);
  }
  return JSON.stringify({ looked, bad });
})()
"""

SHAPE = """
(() => {
  const wide = document.documentElement.scrollWidth;
  const inside = (a, b) => a.left >= b.left - 1 && a.right <= b.right + 1
    && a.top >= b.top - 1 && a.bottom <= b.bottom + 1;
  const over = (a, b) => a.left < b.right - 1 && b.left < a.right - 1
    && a.top < b.bottom - 1 && b.top < a.bottom - 1;
  const bad = [];
  for (const svg of document.querySelectorAll("svg")) {
    const box = svg.getBoundingClientRect();
    const words = [...svg.querySelectorAll("text")].map((t) => [t.textContent, t.getBoundingClientRect()]);
    words.forEach(([text, at], k) => {
      if (!inside(at, box)) bad.push(`cut off: ${text}`);
      for (const [other, there] of words.slice(k + 1)) {
        // Two exclamation marks of one row may stand close.
        if (text !== "!" && other !== "!" && over(at, there)) bad.push(`upon each other: ${text} | ${other}`);
      }
    });
    const named = ["title", "desc"].map((t) => svg.querySelector(t)?.textContent.trim());
    if (svg.getAttribute("role") !== "img" || named.some((n) => !n)) bad.push("a picture without words");
  }
  for (const box of document.querySelectorAll(".wide")) {
    if (box.scrollWidth > box.clientWidth + 1) bad.push(`a table wider than its place by ${box.scrollWidth - box.clientWidth}`);
  }
  return JSON.stringify({
    wide, window: innerWidth, bad,
    pictures: document.querySelectorAll("svg").length,
    scripts: document.scripts.length,
  });
})()
"""


class Chromium:
    """A headless Chromium, spoken to over a pair of pipes."""

    def __init__(self, program, profile):
        to_read, self.to = os.pipe()
        self.back, to_write = os.pipe()

        def pipes():
            # It reads from descriptor 3 and writes to 4.
            spare_read, spare_write = os.dup(to_read), os.dup(to_write)
            os.dup2(spare_read, 3)
            os.dup2(spare_write, 4)

        self.process = subprocess.Popen(
            [program, "--headless", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage",
             "--no-first-run", "--disable-background-networking", "--hide-scrollbars",
             f"--user-data-dir={profile}", "--remote-debugging-pipe", "about:blank"],
            preexec_fn=pipes, pass_fds=(3, 4), stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        os.close(to_read)
        os.close(to_write)
        self.rest, self.number, self.events = b"", 0, []

    def message(self):
        while b"\0" not in self.rest:
            more = os.read(self.back, 1 << 20)
            if not more:
                sys.exit("Chromium has gone away")
            self.rest += more
        one, self.rest = self.rest.split(b"\0", 1)
        return json.loads(one)

    def ask(self, method, session=None, **params):
        self.number += 1
        asked = {"id": self.number, "method": method, "params": params}
        if session:
            asked["sessionId"] = session
        os.write(self.to, json.dumps(asked).encode() + b"\0")
        while True:
            told = self.message()
            if told.get("id") == self.number:
                if "error" in told:
                    sys.exit(f"{method}: {told['error']}")
                return told["result"]
            self.events.append(told)

    def until(self, method):
        while not any(event.get("method") == method for event in self.events):
            self.events.append(self.message())
        self.events = [event for event in self.events if event.get("method") != method]


def main():
    page = pathlib.Path(sys.argv[1]).resolve()
    pictures = pathlib.Path(sys.argv[2]) if len(sys.argv) > 2 else None
    program = shutil.which("chromium") or shutil.which("chromium-browser")
    if program is None:
        sys.exit("there is no chromium; apt-get install chromium")
    faults = []
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as profile:
        chromium = Chromium(program, profile)
        target = chromium.ask("Target.createTarget", url="about:blank")["targetId"]
        session = chromium.ask("Target.attachToTarget", targetId=target, flatten=True)["sessionId"]

        def ask(method, **params):
            return chromium.ask(method, session, **params)

        def evaluate(text):
            told = ask("Runtime.evaluate", expression=text, returnByValue=True)
            return json.loads(told["result"]["value"])

        ask("Page.enable")
        ask("Network.enable")
        for width in (360, 1280):
            for scheme in ("light", "dark"):
                where = f"{width} px, {scheme}"
                ask("Emulation.setDeviceMetricsOverride", width=width, height=900,
                    deviceScaleFactor=1, mobile=width < 500)
                ask("Emulation.setEmulatedMedia",
                    features=[{"name": "prefers-color-scheme", "value": scheme}])
                ask("Page.navigate", url=page.as_uri())
                chromium.until("Page.loadEventFired")
                shape, contrast = evaluate(SHAPE), evaluate(CONTRAST)
                print(f"{where}: {shape['wide']} of {shape['window']} px wide, "
                      f"{shape['pictures']} pictures, {contrast['looked']} texts")
                if shape["window"] != width:
                    faults.append(f"{where}: the window is {shape['window']} px wide")
                if shape["wide"] > shape["window"]:
                    faults.append(f"{where}: {shape['wide']} px wide")
                if shape["scripts"] or shape["pictures"] < 4 or contrast["looked"] < 100:
                    faults.append(f"{where}: {shape}, {contrast['looked']} texts")
                faults += [f"{where}: {fault}" for fault in shape["bad"]]
                faults += [f"{where}: contrast {ratio:.2f}: {text}" for text, ratio in contrast["bad"]]
                if pictures:
                    shot = ask("Page.captureScreenshot", captureBeyondViewport=True, format="png")
                    name = f"{width}-{scheme}.png"
                    (pictures / name).write_bytes(base64.b64decode(shot["data"]))
        pdf = base64.b64decode(ask("Page.printToPDF", printBackground=False)["data"])
        sheets = pdf.count(b"/Type /Page\n") or pdf.count(b"/Type /Page")
        print(f"printed: {len(pdf)} bytes, {sheets} sheets")
        if not pdf.startswith(b"%PDF") or len(pdf) < 10_000:
            faults.append("it was not printed")
        if pictures:
            (pictures / "page.pdf").write_bytes(pdf)
        fetched = {event["params"]["request"]["url"] for event in chromium.events
                   if event.get("method") == "Network.requestWillBeSent"}
        if fetched != {page.as_uri()}:
            faults.append(f"fetched: {fetched}")
        os.write(chromium.to, json.dumps({"id": 10**6, "method": "Browser.close"}).encode() + b"\0")
        try:
            chromium.process.wait(20)
        except subprocess.TimeoutExpired:
            chromium.process.kill()
    for fault in faults:
        print("FAULT:", fault)
    sys.exit(1 if faults else 0)


main()
