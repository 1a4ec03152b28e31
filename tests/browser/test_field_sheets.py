"""Field sheets as a browser prints them: one page a bridge, nothing cut off."""

import io

from pypdf import PdfReader

from bridges.models import Bridge
from tests.browser.conftest import DESKTOP, sign_in

PAPERS = {"Letter": (8.5, 11), "A4": (8.27, 11.69)}


def test_each_bridge_is_one_page_and_fits_on_it(demo_society, open_page):
    page = open_page(DESKTOP)
    sign_in(page, "volunteer", demo_society.password)
    slugs = list(Bridge.objects.order_by("pk").values_list("slug", flat=True))[:25]
    page.goto("/due/sheets/?" + "&".join(f"b={slug}" for slug in slugs))
    for paper, (width_in, _) in PAPERS.items():
        printed = PdfReader(io.BytesIO(page.pdf(format=paper)))
        assert len(printed.pages) == len(slugs), paper
        # As wide as the paper less its margins of 9 mm; and no sheet taller than its
        # page, which would shrink or cut it.
        page.set_viewport_size(
            {"width": int((width_in - 18 / 25.4) * 96), "height": 900}
        )
        page.emulate_media(media="print")
        over = page.evaluate(
            """() => [...document.querySelectorAll(".paper")]
              .filter((e) => e.scrollHeight > e.clientHeight + 1)
              .map((e) => e.getAttribute("aria-label"))"""
        )
        assert not over, (paper, over)
        page.emulate_media(media="null")
    text = printed.pages[0].extract_text()
    assert "same" in text
    assert "Look from the road and the bank." in text
