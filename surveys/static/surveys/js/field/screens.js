// Which screen answers which address: #/name/…

import { newFind } from "./find.js";
import { home } from "./home.js";
import { take } from "./take.js";
import { bridge } from "./bridge.js";
import { visit } from "./walk.js";
import { outbox } from "./outbox.js";

export const screens = { "": home, take, bridge, visit, outbox, find: newFind };
