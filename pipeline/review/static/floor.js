// The floor in the picture and from above: the camera as the library keeps it, and places between measured moments.

/** Where the two moments around t lie: [before, after, share], or null where none is near enough. */
export function around(times, t, bridge) {
  const n = times.length;
  if (!n) return null;
  let low = 0, high = n;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (times[middle] < t) low = middle + 1; else high = middle;
  }
  if (low < n && times[low] === t) return [low, low, 0];
  if (low > 0 && low < n && times[low] - times[low - 1] <= bridge)
    return [low - 1, low, (t - times[low - 1]) / (times[low] - times[low - 1])];
  const nearest = low === 0 ? 0 : low === n ? n - 1 : t - times[low - 1] <= times[low] - t ? low - 1 : low;
  return Math.abs(times[nearest] - t) <= bridge / 2 ? [nearest, nearest, 0] : null;
}

const between = (a, b, share) => a + (b - a) * share;

/** A body's or the ball's place at t, [x, y], or null. */
export function placeAt(one, t, bridge) {
  const found = around(one.t_s, t, bridge);
  if (!found) return null;
  const [a, b, share] = found;
  return [between(one.x_ft[a], one.x_ft[b], share), between(one.y_ft[a], one.y_ft[b], share)];
}

/** The ball's height at t, or null where it is not known. */
export function heightAt(ball, t, bridge) {
  const found = around(ball.t_s, t, bridge);
  if (!found || ball.z_ft[found[0]] === null || ball.z_ft[found[1]] === null) return null;
  return between(ball.z_ft[found[0]], ball.z_ft[found[1]], found[2]);
}

/** A function from court feet (x, y, z) to seen pixels [x, y] (null behind the camera), or null without a camera at t.
    The model is that of pipeline/court/camera.py: pan, tilt, roll, focal length, one radial term. */
export function projection(cameras, t, bridge) {
  const found = cameras && around(cameras.t_s, t, bridge);
  if (!found) return null;
  const [a, b, share] = found;
  const [cx, cy, cz, pan, tilt, roll, focal, k1] = cameras.at[a].map((v, i) => between(v, cameras.at[b][i], share));
  const rad = Math.PI / 180;
  const sp = Math.sin(pan * rad), cp = Math.cos(pan * rad);
  const st = Math.sin(tilt * rad), ct = Math.cos(tilt * rad);
  const sr = Math.sin(roll * rad), cr = Math.cos(roll * rad);
  const downY = cp * st, downX = sp * st, forwardX = sp * ct;
  const right = [cr * cp - sr * downX, -cr * sp - sr * downY, sr * ct];
  const down = [sr * cp + cr * downX, -sr * sp + cr * downY, -cr * ct];
  const forward = [forwardX, cp * ct, st];
  const [mx, my] = cameras.centre_px;
  const width = cameras.size_px[0];
  const dot = (v, x, y, z) => v[0] * x + v[1] * y + v[2] * z;
  return (x, y, z = 0) => {
    const dx = x - cx, dy = y - cy, dz = z - cz;
    const depth = dot(forward, dx, dy, dz);
    if (depth <= 1e-6) return null;
    const px = (focal * dot(right, dx, dy, dz)) / depth, py = (focal * dot(down, dx, dy, dz)) / depth;
    const r2 = (px * px + py * py) / (width * width);
    if (1 + 3 * k1 * r2 <= 0) return null;
    return [mx + px * (1 + k1 * r2), my + py * (1 + k1 * r2)];
  };
}

/** The outline of a body's mark on the floor: a circle for the attack, a square for the defence, a triangle else. */
export function outline(side, x, y, radius) {
  if (side === "attack") return turned(x, y, radius, 28, 0);
  if (side === "defence") return turned(x, y, radius * 1.2, 4, Math.PI / 4);
  return turned(x, y, radius * 1.15, 3, Math.PI / 2);
}

export function turned(x, y, radius, corners, from) {
  return Array.from({ length: corners }, (_, i) => {
    const turn = from + (2 * Math.PI * i) / corners;
    return [x + radius * Math.cos(turn), y + radius * Math.sin(turn)];
  });
}

/** Points along straight lines through corners, near enough to bend with the lens. */
export function dense(points, closed, step = 0.75) {
  const corners = closed ? [...points, points[0]] : points;
  const found = [corners[0]];
  for (let i = 1; i < corners.length; i++) {
    const [x0, y0] = corners[i - 1], [x1, y1] = corners[i];
    const steps = Math.max(1, Math.ceil(Math.hypot(x1 - x0, y1 - y0) / step));
    for (let k = 1; k <= steps; k++) found.push([between(x0, x1, k / steps), between(y0, y1, k / steps)]);
  }
  return found;
}

/** The bar of a screen: the screener's place, across the way to whom he screens. */
export function bar(screener, towards, half = 2.2, ahead = 1.4) {
  const dx = towards[0] - screener[0], dy = towards[1] - screener[1];
  const far = Math.hypot(dx, dy) || 1;
  const ux = dx / far, uy = dy / far;
  const mx = screener[0] + ux * Math.min(ahead, far / 2), my = screener[1] + uy * Math.min(ahead, far / 2);
  return [[mx - uy * half, my + ux * half], [mx + uy * half, my - ux * half]];
}

/** From court feet to the half court from above: the ring at the top, right as who faces the ring sees it. */
export function fromAbove(floor) {
  const sign = floor.end === "left" ? 1 : -1;
  return (x, y) => [sign * (y - floor.ring[1]), sign * (x - floor.ring[0]) + floor.ring_to_baseline_ft];
}
