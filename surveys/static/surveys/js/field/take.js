// Taking bridges along: what is needed of each is fetched once and kept on this phone.

import { h, notice } from "./dom.js";
import { signIn } from "./home.js";
import { bytesSaid, plural } from "./words.js";

const AT_ONCE = 10;

// #/take/slug,slug or #/take?filters of the list or the map's view
export async function take(app, [slugs = ""]) {
  const query = location.hash.split("?")[1] ?? "";
  const said = h("p", { role: "status" }, "Asking the site …");
  const list = h("ul", { class: "field-list" });
  return {
    title: "Taking along",
    back: ["#/", "Bridges with you"],
    body: [said, list],
    shown: () => run(app, slugs.split(",").filter(Boolean), query, said, list),
  };
}

async function run(app, given, query, said, list) {
  const who = await app.learnSession();
  // Another owner shows this screen anew, and that one goes on.
  if (!said.isConnected) return;
  if (!who) {
    said.replaceWith(notice("caution", "No signal", "Bridges are taken along where there is one. Those you have are still here."));
    return;
  }
  if (!app.signedIn) {
    said.replaceWith(
      notice("question", "Sign in first", "What you take is kept under your name.", h("p", {}, h("a", { class: "button", href: signIn() }, "Sign in"))),
    );
    return;
  }
  try {
    const slugs = given.length ? given : await slugsOf(query);
    if (!slugs.length) {
      said.textContent = "No bridge was shown there: move the map or widen the list, and take from it again.";
      return;
    }
    let bytes = 0;
    let done = 0;
    for (let start = 0; start < slugs.length; start += AT_ONCE) {
      const pack = await fetchPack(app, slugs.slice(start, start + AT_ONCE));
      for (const bridge of pack.bridges) {
        const size = await keep(app, bridge, Date.parse(pack.made_at));
        bytes += size;
        done += 1;
        list.append(
          h("li", {}, h("a", { class: "field-row", href: `#/bridge/${bridge.slug}` }, h("span", { class: "field-row-name" }, bridge.name), h("span", { class: "how" }, bytesSaid(size)))),
        );
        said.textContent = `${done} of ${slugs.length} taken along.`;
      }
      for (const slug of pack.missing) {
        list.append(h("li", {}, notice("caution", `“${slug}” is not in the record`)));
      }
    }
    said.textContent = `${plural(done, "bridge")} with you now, ${bytesSaid(bytes)}. They open with no signal.`;
  } catch (error) {
    said.replaceWith(notice("caution", "It broke off", `${error.message}. What was taken is kept; try again with a better signal.`));
  }
}

async function slugsOf(query) {
  if (new URLSearchParams(query).has("bbox")) return slugsInView(query);
  const answer = await fetch(`/api/bridges/?page_size=100&${query}`);
  if (!answer.ok) throw new Error(`The list could not be read (${answer.status})`);
  const { results } = await answer.json();
  return results.map((one) => one.slug);
}

// What the map shows, looked at ever closer until each bridge stands by itself.
async function slugsInView(query) {
  const view = new URLSearchParams(query);
  const zoom = Number(view.get("zoom"));
  for (let closer = 0; closer <= 4; closer += 1) {
    view.set("zoom", String(Math.min(20, zoom + closer)));
    const answer = await fetch(`/api/bridges/map/?${view}`);
    if (!answer.ok) break;
    const { features } = await answer.json();
    const slugs = features.map((one) => one.properties.slug);
    if (slugs.every(Boolean) && slugs.length <= 100) return slugs;
  }
  throw new Error("The map shows too many at once. Come closer, or narrow the list");
}

// Fetches bridges, rules and questions; keeps the latter two.
async function fetchPack(app, slugs) {
  const owner = app.owner.user_id;
  const answer = await fetch(`/api/field-pack/?bridges=${encodeURIComponent(slugs.join(","))}`, {
    headers: { "X-Expected-User": String(owner) },
  });
  if (!answer.ok) throw new Error(`The site answered ${answer.status}`);
  const pack = await answer.json();
  app.rules = pack.rules;
  await app.store.setFact("rules", pack.rules);
  await app.store.setFact(`questions-${owner}`, pack.questions);
  return pack;
}

async function keep(app, bridge, takenAt) {
  const owner = app.owner.user_id;
  let bytes = JSON.stringify(bridge).length;
  for (const picture of bridge.pictures) {
    const held = await app.store.picture(owner, picture.id);
    if (held?.url === picture.url) {
      bytes += held.blob.size;
      continue;
    }
    const answer = await fetch(picture.url).catch(() => null);
    // A picture that does not come is no reason to go without the bridge.
    if (!answer?.ok) continue;
    const blob = new Blob([await answer.arrayBuffer()], { type: "image/jpeg" });
    bytes += blob.size;
    await app.store.savePicture({ owner, id: picture.id, slug: bridge.slug, url: picture.url, blob });
  }
  await app.store.savePack({ owner, slug: bridge.slug, bridge, taken_at: takenAt || Date.now(), bytes });
  return bytes;
}
