// Which members are made alike: across the middle of a truss, and on the other one. Pure.

const NEAR_FT = 0.05;

// The member that lies mirrored about midspan, or "".
export function mirrorOf(skeleton, member) {
  const joints = skeleton?.joints;
  const own = skeleton?.members.find(([name]) => name === member);
  if (!own) return "";
  const xs = Object.values(joints).map(([x]) => x);
  const sum = Math.min(...xs) + Math.max(...xs);
  const mirrored = [own[1], own[2]].map((name) => [sum - joints[name][0], joints[name][1]]);
  const found = skeleton.members.find(([, a, b]) => {
    const ends = [joints[a], joints[b]];
    return alike(ends, mirrored) || alike(ends, [mirrored[1], mirrored[0]]);
  });
  return found && found[0] !== member ? found[0] : "";
}

function alike([a, b], [c, d]) {
  return near(a, c) && near(b, d);
}

function near([ax, ay], [bx, by]) {
  return Math.abs(ax - bx) < NEAR_FT && Math.abs(ay - by) < NEAR_FT;
}

// One tap each: [{ words, paths }], the likeliest first.
export function partners(own, elements, skeletons) {
  if (!own.member) return [];
  const span = own.line.split("/")[0];
  const members = elements.filter((one) => one.kind === "member" && one.path.startsWith(`${span}/`));
  const mirror = mirrorOf(skeletons[span], own.member);
  const at = (line, name) => members.find((one) => one.line === line && one.member === name)?.path;
  const others = [...new Set(members.map((one) => one.line))].filter((line) => line !== own.line);
  const mirrored = mirror && at(own.line, mirror);
  const opposite = others.map((line) => at(line, own.member)).filter(Boolean);
  const both = mirror ? others.map((line) => at(line, mirror)).filter(Boolean) : [];
  const role = members.filter((one) => one.role === own.role && one.path !== own.path).map((one) => one.path);
  const truss = others.length === 1 ? "the other truss" : "the other trusses";
  const found = [];
  if (mirrored) found.push({ words: mirror, paths: [mirrored] });
  if (opposite.length) found.push({ words: `${own.member} on ${truss}`, paths: opposite });
  if (mirrored && both.length) {
    found.push({ words: `${mirror}, and on ${truss}`, paths: [mirrored, ...opposite, ...both] });
  }
  const largest = found.reduce((most, one) => Math.max(most, one.paths.length), 0);
  if (role.length > largest && own.role) {
    found.push({ words: `all ${role.length + 1} of its kind`, paths: role });
  }
  return found;
}
