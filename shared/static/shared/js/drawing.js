// A chosen bar is shown as chosen in every drawing on the page, and in its table.
// Without this file a bar is a link to its row.

const CHOSEN = "is-chosen";

function choose(id) {
  for (const one of document.querySelectorAll(`.${CHOSEN}`)) one.classList.remove(CHOSEN);
  const row = id && document.getElementById(id);
  if (!row) return;
  row.classList.add(CHOSEN);
  for (const bar of document.querySelectorAll("a.bar")) {
    if (bar.getAttribute("href") === `#${id}`) bar.classList.add(CHOSEN);
  }
}

function follow() {
  choose(decodeURIComponent(location.hash.slice(1)));
}

addEventListener("hashchange", follow);
follow();
