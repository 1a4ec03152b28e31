"""The first view of the map page on a slow phone: bytes sent, and when it is painted.

    python tests/benchmarks/bench_first_view.py http://127.0.0.1:8000/

Chromium with an empty cache, 1.6 Mbit/s down, 150 ms to the server, the processor four
times slower. Prints what was transferred, and the first and largest contentful paint.
"""

import statistics
import sys

from playwright.sync_api import sync_playwright

RUNS = 5
# The usual "fast 3G": kilobits a second and milliseconds.
DOWN_BYTES, UP_BYTES, DELAY_MS, SLOWER = 1_600_000 / 8, 750_000 / 8, 150, 4
PAINTS = """() => new Promise((done) => {
  let largest = 0;
  new PerformanceObserver((list) => {
    for (const entry of list.getEntries()) largest = entry.startTime;
  }).observe({ type: "largest-contentful-paint", buffered: true });
  const first = performance.getEntriesByName("first-contentful-paint")[0];
  setTimeout(() => done([first ? first.startTime : 0, largest]), 300);
})"""


def view(browser, address):
    context = browser.new_context(viewport={"width": 390, "height": 844})
    page = context.new_page()
    session = context.new_cdp_session(page)
    for domain in ("Network", "Page"):
        session.send(f"{domain}.enable")
    session.send("Network.setCacheDisabled", {"cacheDisabled": True})
    session.send(
        "Network.emulateNetworkConditions",
        {
            "offline": False,
            "latency": DELAY_MS,
            "downloadThroughput": DOWN_BYTES,
            "uploadThroughput": UP_BYTES,
        },
    )
    session.send("Emulation.setCPUThrottlingRate", {"rate": SLOWER})
    sizes, names = {}, {}
    session.on(
        "Network.responseReceived",
        lambda event: names.update({event["requestId"]: event["response"]["url"]}),
    )
    session.on(
        "Network.loadingFinished",
        lambda event: sizes.update({event["requestId"]: event["encodedDataLength"]}),
    )
    page.goto(address, wait_until="networkidle", timeout=90_000)
    first, largest = page.evaluate(PAINTS)
    context.close()
    return {names.get(key, "?"): size for key, size in sizes.items()}, first, largest


def main(address):
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path="/usr/bin/chromium", args=["--no-sandbox"]
        )
        seen = [view(browser, address) for _ in range(RUNS)]
        browser.close()
    sizes = seen[0][0]
    for name, size in sorted(sizes.items(), key=lambda pair: -pair[1]):
        print(f"  {size:9,.0f} bytes  {name.split('?')[0]}")
    print(f"  {sum(sizes.values()):9,.0f} bytes in {len(sizes)} answers")
    for number, name in ((1, "first"), (2, "largest")):
        took = statistics.median(one[number] for one in seen)
        print(f"  {name} contentful paint {took:,.0f} ms (median of {RUNS})")


if __name__ == "__main__":
    main(sys.argv[1])
