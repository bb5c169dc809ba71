// Landmarks on a frame: placed by click or arrow keys; the server fits the floor to them and the lines follow at once.
import { send, watch } from "./sending.js";

const page = document.getElementById("court");
const data = JSON.parse(document.getElementById("court-data").textContent);
const [width, height, t] = [Number(page.dataset.width), Number(page.dataset.height), Number(page.dataset.t)];
const base = `/court/${encodeURIComponent(page.dataset.game)}`;
const at = (id) => document.getElementById(id);
const [frame, overlay, pinBox, loupe, choice, said, save] =
  ["frame", "overlay", "pins", "loupe", "landmark", "said", "save"].map(at);
const SVG = "http://www.w3.org/2000/svg";

choice.value = Object.keys(data.pins)[0] ?? Object.keys(data.visible)[0] ?? choice.value;
let points = new Map(Object.entries(data.pins));
let misses = {};
let changed = false;
let asked = 0;

function drawLines(lines, style) {
  overlay.replaceChildren(
    ...(lines ?? []).map((line) => {
      const drawn = document.createElementNS(SVG, "polyline");
      drawn.setAttribute("points", line.map((point) => point.join(",")).join(" "));
      drawn.setAttribute("class", style);
      return drawn;
    }),
  );
}

function drawPins() {
  const focused = document.activeElement?.dataset?.pin;
  pinBox.replaceChildren(
    ...[...points].map(([name, [x, y]]) => {
      const pin = document.createElement("button");
      pin.type = "button";
      pin.className = "pin";
      pin.dataset.pin = name;
      pin.ariaLabel = `${data.texts[name]}, at ${x.toFixed(0)}, ${y.toFixed(0)} pixels; arrow keys move it`;
      pin.style.left = `${(100 * x) / width}%`;
      pin.style.top = `${(100 * y) / height}%`;
      if (name === choice.value) pin.dataset.chosen = "";
      return pin;
    }),
  );
  if (focused) pinBox.querySelector(`[data-pin="${focused}"]`)?.focus({ preventScroll: true });
  for (const spot of document.querySelectorAll("#plan circle")) {
    spot.toggleAttribute("data-chosen", spot.dataset.name === choice.value);
    spot.toggleAttribute("data-placed", points.has(spot.dataset.name));
  }
}

function cell(text, style = "") {
  const made = document.createElement("td");
  made.textContent = text;
  made.className = style;
  return made;
}

function drawTable() {
  const rows = [...points].map(([name, [x, y]]) => {
    const row = document.createElement("tr");
    const head = document.createElement("th");
    head.scope = "row";
    head.textContent = name.replaceAll("_", " ");
    head.title = data.texts[name];
    const gone = document.createElement("button");
    gone.type = "button";
    gone.className = "quiet small";
    gone.textContent = "✕";
    gone.ariaLabel = `Take away: ${data.texts[name]}`;
    gone.addEventListener("click", () => {
      points.delete(name);
      moved();
    });
    const last = document.createElement("td");
    last.append(gone);
    const miss = misses[name];
    row.append(head, cell(x.toFixed(0), "number"), cell(y.toFixed(0), "number"), cell(miss === undefined ? "" : miss.toFixed(1), "number"), last);
    return row;
  });
  if (!rows.length) {
    const row = document.createElement("tr");
    const none = cell("None yet.", "soft");
    none.colSpan = 5;
    row.append(none);
    rows.push(row);
  }
  at("placed").replaceChildren(...rows);
}

function drawLoupe() {
  const point = points.get(choice.value);
  loupe.hidden = !point || !frame.complete;
  if (loupe.hidden) return;
  const pen = loupe.getContext("2d");
  const [size, reach] = [loupe.width, 22];
  const scale = frame.naturalWidth / width;
  pen.fillStyle = "#000";
  pen.fillRect(0, 0, size, size);
  pen.imageSmoothingEnabled = false;
  pen.drawImage(frame, (point[0] - reach) * scale, (point[1] - reach) * scale, 2 * reach * scale, 2 * reach * scale, 0, 0, size, size);
  pen.strokeStyle = "#ff2e88";
  pen.lineWidth = 1.5;
  pen.beginPath();
  for (const [x1, y1, x2, y2] of [[0, 0.5, 0.44, 0.5], [0.56, 0.5, 1, 0.5], [0.5, 0, 0.5, 0.44], [0.5, 0.56, 0.5, 1]]) {
    pen.moveTo(x1 * size, y1 * size);
    pen.lineTo(x2 * size, y2 * size);
  }
  pen.stroke();
  loupe.dataset.side = point[0] > width / 2 ? "left" : "right";
}

function draw() {
  drawPins();
  drawTable();
  drawLoupe();
}

let waiting = 0;
function moved() {
  changed = true;
  misses = {};
  save.disabled = true;
  draw();
  clearTimeout(waiting);
  waiting = setTimeout(fit, 60);
}

async function fit() {
  if (!points.size) {
    drawLines(data.lines, "found");
    tell("No landmark is placed. Saving takes the saved ones of this frame away.");
    save.disabled = !Object.keys(data.pins).length;
    return;
  }
  const mine = ++asked;
  try {
    const tried = await send(`${base}/try`, { t, points: Object.fromEntries(points) });
    if (mine !== asked) return;
    misses = tried.misses_px ?? {};
    drawLines(tried.lines ?? data.lines, tried.lines ? (tried.good ? "fits" : "fits-badly") : "found");
    tell(tried.said, tried.good ? "good" : tried.lines ? "bad" : "");
    save.disabled = !tried.good || !changed;
    drawTable();
  } catch (error) {
    tell(error.message, "bad");
  }
}

function tell(text, style = "") {
  said.textContent = text;
  said.className = `notice ${style}`;
}

function place(event) {
  const box = frame.getBoundingClientRect();
  const x = ((event.clientX - box.left) / box.width) * width;
  const y = ((event.clientY - box.top) / box.height) * height;
  points.set(choice.value, inside(x, y));
  moved();
}

function inside(x, y) {
  const clamp = (value, most) => Math.round(10 * Math.min(Math.max(value, 0), most)) / 10;
  return [clamp(x, width - 1), clamp(y, height - 1)];
}

function choose(name) {
  choice.value = name;
  draw();
}

// A click on the frame places the chosen landmark; a pin can be dragged.
let held = null;
at("court").querySelector(".court-frame").addEventListener("pointerdown", (event) => {
  const pin = event.target.closest?.("[data-pin]");
  if (pin) {
    choose(pin.dataset.pin);
    held = pin.dataset.pin;
    pinBox.querySelector(`[data-pin="${held}"]`).focus();
  } else if (event.button === 0) {
    place(event);
    held = choice.value;
    pinBox.querySelector(`[data-pin="${held}"]`).focus();
  }
  event.preventDefault();
});
addEventListener("pointermove", (event) => held && event.buttons && place(event));
addEventListener("pointerup", () => (held = null));

const STEPS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
pinBox.addEventListener("keydown", (event) => {
  const name = event.target.dataset.pin;
  const step = STEPS[event.key];
  if (name && step) {
    const far = event.shiftKey ? 10 : event.altKey ? 0.2 : 1;
    const [x, y] = points.get(name);
    choice.value = name;
    points.set(name, inside(x + far * step[0], y + far * step[1]));
    moved();
    event.preventDefault();
  } else if (name && (event.key === "Delete" || event.key === "Backspace")) {
    points.delete(name);
    moved();
    choice.focus();
    event.preventDefault();
  }
});
pinBox.addEventListener("focusin", (event) => {
  if (event.target.dataset.pin !== choice.value) choose(event.target.dataset.pin);
});

// Enter in the list of landmarks places the chosen one in the middle (or where the found floor has it), for the arrow keys.
choice.addEventListener("keydown", (event) => {
  if (event.key !== "Enter") return;
  if (!points.has(choice.value)) {
    points.set(choice.value, data.visible[choice.value] ?? [Math.round(width / 2), Math.round(height / 2)]);
    moved();
  }
  pinBox.querySelector(`[data-pin="${choice.value}"]`).focus();
  event.preventDefault();
});
choice.addEventListener("change", draw);
at("plan").addEventListener("click", (event) => {
  const name = event.target.dataset.name;
  if (name) choose(name);
});

at("from-floor").addEventListener("click", () => {
  points = new Map(Object.entries(data.visible));
  moved();
});
at("clear").addEventListener("click", () => {
  points.clear();
  moved();
});

save.addEventListener("click", async () => {
  save.disabled = true;
  try {
    const done = await send(`${base}/pins`, { t, points: Object.fromEntries(points) });
    changed = false;
    data.pins = Object.fromEntries(points);
    tell(done.said, "good");
    if (at("rerun")) at("rerun").hidden = false;
  } catch (error) {
    tell(error.message, "bad");
    save.disabled = false;
  }
});

async function follow(job) {
  at("rerun").disabled = true;
  const done = await watch(job, at("job"));
  at("rerun").disabled = false;
  if (done.standing === "done") location.href = `${base}?t=${t}`;
}
at("rerun")?.addEventListener("click", async () => {
  try {
    await follow(await send(`${base}/rerun`));
  } catch (error) {
    tell(error.message, "bad");
    at("rerun").disabled = false;
  }
});

addEventListener("beforeunload", (event) => changed && points.size && event.preventDefault());
frame.addEventListener("load", drawLoupe);
drawLines(data.lines, "found");
draw();
if (points.size) fit();
