"""A thumb that counts: every tap and every key that a visit costs."""


class Thumb:
    """Taps and types as a person does, and counts it.

    Choosing files in the phone's own picker is not this page's to count, but the tap
    that opens it is.
    """

    def __init__(self, page):
        self.page = page
        self.taps = 0
        self.log = []

    def tap(self, target):
        target.tap()
        self._count(1, target)

    def button(self, name, exact=False):
        self.tap(self.page.get_by_role("button", name=name, exact=exact).first)

    def link(self, name):
        self.tap(self.page.get_by_role("link", name=name).first)

    def bar(self, path):
        """Tap a bar of the drawing in its middle."""
        target = self.page.locator(f"a.bar[href='#bar:{path}'] .tap")
        target.scroll_into_view_if_needed()
        box = target.bounding_box()
        self.page.touchscreen.tap(
            box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
        )
        self._count(1, path)

    def photo(self, file):
        """Take one photo: the tap that opens the camera, then what it gives."""
        with self.page.expect_file_chooser() as chooser:
            self.tap(self.page.get_by_label("Take a photo"))
        chooser.value.set_files(file)
        self.page.get_by_text(file["name"]).first.wait_for()

    def _count(self, number, what):
        self.taps += number
        self.log.append(str(what)[:80])
