// Forces in a truss under a vehicle, from the influence matrix that the page carries.
// Pure: no document. Feet and kips; tension positive; loads positive downward.
//
// force = dead + influence P + selfstress z, with the least z.z that leaves no rod
// pushed. That is the state of least strain energy, the same that the check finds; the
// data are made by analysis/engine/drive.py, where the derivation stands.

// Positions closer than this, ft, are one position.
const SAME_PLACE_FT = 1e-9;
// Of the largest force: below this a rod is not pushed, it rounds.
const TOLERANCE = 1e-10;

// Loads on the joints of axles by the lever rule. An axle off the deck loads nothing.
export function jointLoads(axles, weights, x) {
  const load = new Array(x.length).fill(0);
  const last = x.length - 1;
  axles.forEach((place, i) => {
    let at = place;
    for (const joint of x) if (Math.abs(joint - at) <= SAME_PLACE_FT) at = joint;
    if (at < x[0] || at > x[last]) return;
    if (last === 0) {
      load[0] += weights[i];
      return;
    }
    let panel = 0;
    while (panel < last - 1 && at >= x[panel + 1]) panel += 1;
    const part = (at - x[panel]) / (x[panel + 1] - x[panel]);
    load[panel] += weights[i] * (1 - part);
    load[panel + 1] += weights[i] * part;
  });
  return load;
}

// Where the axles stand: heading +1 goes towards greater x, -1 towards smaller.
export function axlePlaces(front, heading, behind) {
  return behind.map((one) => front - heading * one);
}

function dot(a, b) {
  let sum = 0;
  for (let i = 0; i < a.length; i += 1) sum += a[i] * b[i];
  return sum;
}

// Solve a small symmetric system in place, by elimination with pivoting.
function solve(matrix, right) {
  const n = right.length;
  for (let k = 0; k < n; k += 1) {
    let best = k;
    for (let i = k + 1; i < n; i += 1) {
      if (Math.abs(matrix[i][k]) > Math.abs(matrix[best][k])) best = i;
    }
    [matrix[k], matrix[best]] = [matrix[best], matrix[k]];
    [right[k], right[best]] = [right[best], right[k]];
    for (let i = k + 1; i < n; i += 1) {
      const factor = matrix[i][k] / matrix[k][k];
      for (let j = k; j < n; j += 1) matrix[i][j] -= factor * matrix[k][j];
      right[i] -= factor * right[k];
    }
  }
  for (let k = n - 1; k >= 0; k -= 1) {
    for (let j = k + 1; j < n; j += 1) right[k] -= matrix[k][j] * right[j];
    right[k] /= matrix[k][k];
  }
  return right;
}

// Split a row into what the slack rods' rows make of it and what is left over.
function split(row, slack, rows) {
  if (!slack.length) return { along: [], left: row.slice() };
  const normal = slack.map((a) => slack.map((b) => dot(rows[a], rows[b])));
  const along = solve(normal, slack.map((a) => dot(rows[a], row)));
  const left = row.slice();
  slack.forEach((a, i) => {
    for (let k = 0; k < left.length; k += 1) left[k] -= along[i] * rows[a][k];
  });
  return { along, left };
}

// Return {force, slack}, or null where no set of taut rods carries the load.
//
// Rods are let go one by one, the most pushed first, and taken up again where letting
// go another frees them: the dual method of D. Goldfarb and A. Idnani, Mathematical
// Programming 27 (1983), which ends after finitely many steps with the only answer.
export function settle(acting, rows, rods) {
  const size = Math.max(1e-300, ...acting.map(Math.abs));
  const zero = TOLERANCE * size;
  const count = rows.length && rows[0].length;
  const norm = rows.map((row) => Math.sqrt(dot(row, row)));
  const largest = Math.max(0, ...norm);
  const z = new Array(count).fill(0);
  const pull = (i) => acting[i] + (count ? dot(rows[i], z) : 0);
  let slack = [];
  let held = [];
  for (let step = 0; step < 50 * (rods.length + 1); step += 1) {
    let worst = -1;
    let least = -zero;
    for (const i of rods) {
      if (slack.includes(i)) continue;
      const force = pull(i);
      if (force < least) {
        least = force;
        worst = i;
      }
    }
    if (worst < 0) {
      const force = acting.map((_, i) => (slack.includes(i) ? 0 : pull(i)));
      return { force, slack };
    }
    if (!(norm[worst] > 1e-12 * largest) || !largest) return null;
    let own = 0;
    for (;;) {
      const { along, left } = split(rows[worst], slack, rows);
      const room = dot(left, left);
      const full = room > 1e-18 * norm[worst] ** 2 ? -pull(worst) / room : Infinity;
      let first = -1;
      let partial = Infinity;
      along.forEach((part, i) => {
        if (part > 1e-12 && held[i] / part < partial) {
          partial = held[i] / part;
          first = i;
        }
      });
      const move = Math.min(full, partial);
      if (move === Infinity) return null;
      if (full !== Infinity) for (let k = 0; k < count; k += 1) z[k] += move * left[k];
      held = held.map((one, i) => one - move * along[i]);
      own += move;
      if (full <= partial) {
        slack = [...slack, worst];
        held = [...held, own];
        break;
      }
      slack = slack.filter((_, i) => i !== first);
      held = held.filter((_, i) => i !== first);
    }
  }
  return null;
}

// Forces under a vehicle of given axles standing with its front axle at ``front``.
export function forcesUnder(truss, vehicle, front, heading) {
  const places = axlePlaces(front, heading, vehicle.behind);
  const load = jointLoads(places, vehicle.kip, truss.x).map((one) => one * truss.share);
  const acting = truss.dead.map((dead, m) => dead + dot(truss.influence[m], load));
  const settled = settle(acting, truss.selfstress, truss.rods);
  return settled && { ...settled, places };
}

// Every place where an axle stands on a joint, in order: the stops of a passage.
export function stops(truss, vehicle, heading) {
  const found = [];
  for (const joint of truss.x) {
    for (const behind of vehicle.behind) found.push(joint + heading * behind);
  }
  found.sort((a, b) => heading * (a - b));
  return found.filter((one, i) => i === 0 || Math.abs(one - found[i - 1]) > 1e-6);
}

// The part of its allowable force that a bar is put to; null where none is known.
export function usedPart(force, limits) {
  const [pull, push] = limits;
  if (force >= 0) return pull ? force / pull : null;
  return push ? -force / push : null;
}
