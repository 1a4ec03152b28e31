"""A bad day in the field: the line, the server, the browser and the session all fail.

Visits with one to three photographs are logged in a real Chromium by two people who
share a phone, and sent through a proxy that loses requests, answers and halves of
either, while the server and the browser are killed without a farewell, sessions run out
and a second tab sends too. In the end every visit and photograph is on the server once,
byte for byte, and nothing waits.

Small here; by hand, with the counts printed:

    FIELD_VISITS=500 pytest -s tests/endurance/test_field_faults.py
"""

import base64
import collections
import contextlib
import hashlib
import os
import random
import signal
import time

import pytest
from django.conf import settings
from django.contrib.sessions.models import Session
from django.test import Client

from surveys.models import Photo, SecondSubmission, Visit
from tests.browser.conftest import PHONE, QUIET, chromium_program  # noqa: F401
from tests.endurance.faults import BadLine
from tests.endurance.site import Site
from tests.images import jpeg
from tests.makers import make_bridge, make_person

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.browser]

VISITS = int(os.environ.get("FIELD_VISITS", "8"))
BATCH = 4 if VISITS < 50 else 20
KINDS = ("server killed", "browser killed", "session ended")
MOST_ROUNDS = 40 + 20 * VISITS

# Logs visits as the page does: draft, photographs, then the outbox in one step.
LOG = """async ({ slug, owner, name, count, picture, largest }) => {
  const at = "/static/surveys/js/field/";
  const { openStore } = await import(`${at}store.js`);
  const { itemOf, newDraft, setAnswer } = await import(`${at}visit.js`);
  const { addFiles } = await import(`${at}shots.js`);
  const store = (window.testStore ??= await openStore());
  const pack = (await store.pack(owner, slug)).bridge;
  const app = { store, rules: null, settings: {}, owner: { credit: name }, space: async () => ({}) };
  const bytes = Uint8Array.from(atob(picture), (sign) => sign.charCodeAt(0));
  const made = [];
  for (let n = 0; n < count; n += 1) {
    const draft = newDraft({ id: crypto.randomUUID(), owner, ownerName: name, pack, date: "2024-05-04", now: Date.now() });
    setAnswer(draft, "limit", "not-seen");
    await store.saveDraft(draft);
    const files = Array.from({ length: 1 + Math.floor(Math.random() * 3) }, (_, at) => {
      // After the picture, bytes that no other file has.
      const more = crypto.getRandomValues(new Uint8Array(1 + Math.floor(Math.random() * 60_000)));
      const rest = new Uint8Array(Math.random() < 0.2 ? largest : 0);
      return new File([bytes, more, rest], `${at}.jpg`, { type: "image/jpeg" });
    });
    const refused = await addFiles({ app, draft, files, facts: { element: "limit" } });
    if (refused.length) throw new Error(JSON.stringify(refused));
    await store.queue(itemOf(draft, pack, Date.now()));
    made.push({ id: draft.client_id, photos: draft.photos.map(({ client_id, sha256 }) => [client_id, sha256]) });
  }
  return made;
}"""
# Tries to send, as when the signal comes back, and waits until it has given up or done.
# While the other tab is sending this one does not try, so that one is waited for first.
SEND = """async () => {
  const nobodySends = navigator.locks.request("second-crossing-field-sending", () => {});
  await Promise.race([nobodySends, new Promise((done) => setTimeout(done, 20_000))]);
  await new Promise((done) => {
    let began = false;
    const heard = () => {
      if (!began) { began = true; return; }
      document.removeEventListener("field-sending", heard);
      done();
    };
    document.addEventListener("field-sending", heard);
    setTimeout(() => { if (!began) { document.removeEventListener("field-sending", heard); done(); } }, 400);
    setTimeout(done, 60_000);
    dispatchEvent(new Event("online"));
  });
}"""
WAITING = """async (owner) => {
  const { openStore } = await import("/static/surveys/js/field/store.js");
  const store = (window.testStore ??= await openStore());
  return (await store.outbox()).filter((one) => one.owner === owner).map((one) => one.message);
}"""


class Phone:
    """One browser profile, two tabs; it can be killed and opened again."""

    def __init__(self, playwright, program, folder, url):
        self.playwright, self.program = playwright, program
        self.folder, self.url = folder, url
        self.cookie = None
        self.open()

    def open(self):
        self.context = self.playwright.chromium.launch_persistent_context(
            str(self.folder),
            executable_path=self.program,
            args=QUIET,
            base_url=self.url,
            **PHONE,
        )
        if self.cookie:
            self.context.add_cookies([self.cookie])
        self.tab = self.context.pages[0]
        self.other = self.context.new_page()
        for page in (self.tab, self.other):
            page.goto("/field/")

    def kill(self):
        """By the id that the browser itself has written into its profile."""
        lock = os.readlink(self.folder / "SingletonLock")
        os.kill(int(lock.rsplit("-", 1)[1]), signal.SIGKILL)
        with contextlib.suppress(Exception):
            self.context.close()

    def sign_in(self, person):
        client = Client()
        client.force_login(person)
        name = settings.SESSION_COOKIE_NAME
        value = client.cookies[name].value
        self.cookie = {"name": name, "value": value, "url": self.url}
        self.context.add_cookies([self.cookie])

    def take(self, bridge):
        self.tab.goto("/field/#/")
        self.tab.reload()
        self.tab.goto(f"/field/#/take/{bridge.slug}")
        self.tab.get_by_text("1 bridge with you now").first.wait_for(timeout=120_000)

    def log(self, bridge, person, count):
        asked = {
            "slug": bridge.slug,
            "owner": person.pk,
            "name": person.username,
            "count": count,
            "picture": base64.b64encode(jpeg(320, 240)).decode(),
            "largest": 500_000,
        }
        return self.tab.evaluate(LOG, asked)

    def send(self, both=False):
        if both:
            self.other.evaluate("() => void dispatchEvent(new Event('online'))")
        self.tab.evaluate(SEND)

    def waiting(self, person):
        return self.tab.evaluate(WAITING, person.pk)


def test_after_a_bad_day_everything_is_there_once(
    tmp_path,
    media,
    playwright,
    chromium_program,  # noqa: F811
):
    bridge = make_bridge()
    people = [make_person("ada"), make_person("bea")]
    chance, did = random.Random(7), collections.Counter()
    logged = {}
    begun = time.monotonic()
    with Site(tmp_path) as site:
        line = BadLine(site.port, share=0)
        phone = Phone(playwright, chromium_program, tmp_path / "phone", line.url)
        for person in people:
            phone.sign_in(person)
            phone.take(bridge)
        line.share = 0.15
        while len(logged) < VISITS:
            person = people[did["batches"] % 2]
            did["batches"] += 1
            phone.sign_in(person)
            for one in phone.log(bridge, person, min(BATCH, VISITS - len(logged))):
                logged[one["id"]] = dict(one["photos"])
            # Once only: much of it still waits when something goes wrong.
            phone.send(both=did["batches"] % 2 == 0)
            harm(chance, did, site, phone, person)
        # A short run has fewer batches than there are kinds of harm.
        while not all(did[kind] for kind in KINDS):
            harm(chance, did, site, phone, person)
        for person in people:
            phone.sign_in(person)
            for _ in range(MOST_ROUNDS):
                if not phone.waiting(person):
                    break
                did["rounds"] += 1
                phone.send(both=chance.random() < 0.3)
                if chance.random() < 0.05:
                    harm(chance, did, site, phone, person)
            assert phone.waiting(person) == []
        phone.tab.goto("/field/#/")
        phone.tab.reload()
        phone.tab.get_by_role("heading", level=1).wait_for()
        assert not phone.tab.locator("[data-count]").is_visible()
        phone.context.close()
        line.close()
    photos = {pk: sha for one in logged.values() for pk, sha in one.items()}
    print(
        f"\n{len(logged)} visits, {len(photos)} photos in "
        f"{time.monotonic() - begun:.0f} s; line {dict(line.counts)}; {dict(did)}"
    )
    check(logged, photos)
    assert all(did[kind] for kind in KINDS)


def harm(chance, did, site, phone, person):
    """One thing goes wrong; at first each in its turn, so that a short run has all."""
    kind = next((one for one in KINDS if not did[one]), None) or chance.choice(KINDS)
    did[kind] += 1
    if kind == "server killed":
        # In the middle of sending.
        phone.tab.evaluate("() => void dispatchEvent(new Event('online'))")
        time.sleep(chance.random() * 0.2)
        site.kill()
        phone.send()
        site.start()
    elif kind == "browser killed":
        phone.tab.evaluate("() => void dispatchEvent(new Event('online'))")
        time.sleep(chance.random() * 0.2)
        phone.kill()
        phone.open()
    else:
        Session.objects.all().delete()
        phone.send()
        phone.sign_in(person)


def check(logged, photos):
    stored = collections.Counter(str(one.client_id) for one in Visit.objects.all())
    assert stored == dict.fromkeys(logged, 1)
    assert not SecondSubmission.objects.exists()
    assert Photo.objects.count() == len(photos)
    for photo in Photo.objects.select_related("visit"):
        sha256 = photos[str(photo.client_id)]
        assert str(photo.client_id) in logged[str(photo.visit.client_id)]
        assert photo.arrived_at
        with photo.original.open() as file:
            assert hashlib.file_digest(file, "sha256").hexdigest() == sha256
