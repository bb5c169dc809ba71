// Lines, marks and words on a canvas, in CSS pixels.

/** The canvas' paper in CSS pixels, at the screen's own fineness. */
export function fitted(canvas) {
  const width = canvas.clientWidth, height = canvas.clientHeight, fine = window.devicePixelRatio || 1;
  if (canvas.width !== Math.round(width * fine) || canvas.height !== Math.round(height * fine)) {
    canvas.width = Math.round(width * fine);
    canvas.height = Math.round(height * fine);
  }
  const paper = canvas.getContext("2d");
  paper.setTransform(fine, 0, 0, fine, 0, 0);
  return [paper, width, height];
}

export const circle = (x, y, r) => Array.from({ length: 25 }, (_, i) => [x + r * Math.cos((i * Math.PI) / 12), y + r * Math.sin((i * Math.PI) / 12)]);

/** A body's mark from above: circle, square, triangle. */
export function mark(side, x, y, r) {
  if (side === "attack") return circle(x, y, r);
  if (side === "defence") return [[x - r, y - r], [x + r, y - r], [x + r, y + r], [x - r, y + r]].map(([a, b]) => [x + (a - x) * 0.9, y + (b - y) * 0.9]);
  return [[x, y - 1.2 * r], [x + 1.1 * r, y + 0.8 * r], [x - 1.1 * r, y + 0.8 * r]];
}

function trace(paper, points) {
  let open = false;
  paper.beginPath();
  for (const point of points) {
    if (!point) { open = false; continue; }
    if (open) paper.lineTo(point[0], point[1]); else paper.moveTo(point[0], point[1]);
    open = true;
  }
}

export function stroke(paper, points, colour, width, strength = 1, edged = true) {
  trace(paper, points);
  paper.lineJoin = paper.lineCap = "round";
  if (edged) {
    paper.globalAlpha = 0.55 * strength;
    paper.strokeStyle = "#000000";
    paper.lineWidth = width + 1.8;
    paper.stroke();
  }
  paper.globalAlpha = strength;
  paper.strokeStyle = colour;
  paper.lineWidth = width;
  paper.stroke();
  paper.globalAlpha = 1;
}

export function fill(paper, points, colour, strength) {
  const known = points.filter(Boolean);
  if (known.length < 3) return;
  trace(paper, known);
  paper.closePath();
  paper.globalAlpha = strength;
  paper.fillStyle = colour;
  paper.fill();
  paper.globalAlpha = 1;
}

export function badge(paper, x, y, text, side, colour, radius) {
  const shape = mark(side, x, y - radius, radius);
  fill(paper, shape, colour, 1);
  stroke(paper, [...shape, shape[0]], "#141414", 1.4, 1, false);
  label(paper, x, y - radius, text, radius * 1.3);
}

export function label(paper, x, y, text, size) {
  paper.fillStyle = "#141414";
  paper.font = `700 ${Math.round(size)}px system-ui, "DejaVu Sans", sans-serif`;
  paper.textAlign = "center";
  paper.textBaseline = "middle";
  paper.fillText(String(text), x, y + size * 0.05);
}
