// What is still to be put right, each a link to where.

import { h } from "./dom.js";

export function wrongList({ elements, home }, wrong) {
  return h(
    "ul",
    {},
    wrong.map(({ path, message }) =>
      h("li", {}, h("a", { href: `${home}/e/${encodeURIComponent(path)}` }, elements.get(path)?.name ?? path), `: ${message}`),
    ),
  );
}
