// The reel builder: order by dragging and by keyboard, titles, notes, still moments, speed. Every change is saved at once.
import { Refused, send, watch } from "./sending.js";

const at = (id) => document.getElementById(id);
const builder = at("builder");
const items = at("items");
const saved = at("saved");
const path = `/reels/${builder.dataset.reel}`;
let revision = Number(builder.dataset.revision);
let dirty = false;
let sending = false;
let stuck = false;
let waiting = 0;

const clips = () => [...items.children];

function reel() {
  return {
    revision,
    title: at("reel-title").value,
    note: at("reel-note").value,
    items: clips().map((clip) => {
      const field = (name) => clip.querySelector(`[data-field="${name}"]`);
      return {
        tag: Number(clip.dataset.tag),
        title: field("title").value,
        note: field("note").value,
        freeze: field("freeze").checked,
        slow: Number(field("slow").value),
      };
    }),
  };
}

function say(text, style = "") {
  saved.textContent = text;
  saved.className = `small ${style}`;
}

function changed(delay = 500) {
  dirty = true;
  builder.dataset.waiting = "yes";
  clearTimeout(waiting);
  waiting = setTimeout(save, delay);
}

async function save() {
  if (sending || stuck || !dirty) return;
  if (!at("reel-title").value.trim()) {
    say("The reel needs a title; nothing is saved until it has one.", "wrong");
    return;
  }
  sending = true;
  dirty = false;
  say("Saving …");
  try {
    const done = await send(path, reel());
    revision = done.revision;
    at("length").textContent = done.length;
    at("clips").textContent = done.clips;
    at("film-link").hidden = true;
    say(`Saved at ${new Date().toLocaleTimeString([], { hour: "2-digit", minute: "2-digit", second: "2-digit" })}.`);
  } catch (error) {
    dirty = true;
    if (error instanceof Refused && error.status === 409) {
      stuck = true;
      say(`${error.message} `, "wrong");
      const again = document.createElement("button");
      again.type = "button";
      again.className = "small";
      again.textContent = "Load it as it stands now";
      again.addEventListener("click", () => {
        dirty = false;
        location.reload();
      });
      saved.append(again);
    } else {
      say(error instanceof Refused ? error.message : "The server cannot be reached; what you changed is still here and is tried again.", "wrong");
      if (!(error instanceof Refused)) waiting = setTimeout(save, 3000);
    }
  }
  sending = false;
  if (!dirty) builder.dataset.waiting = "no";
  if (dirty && !stuck && !saved.classList.contains("wrong")) save();
}

function numbered() {
  clips().forEach((clip, place) => {
    clip.querySelector(".place").textContent = place + 1;
    clip.querySelector('[data-move="-1"]').disabled = place === 0;
    clip.querySelector('[data-move="1"]').disabled = place === items.children.length - 1;
  });
  const none = !items.children.length;
  at("empty").hidden = !none;
  at("play").hidden = none;
  at("film").disabled = none;
  at("how").hidden = items.children.length < 2;
}

function move(clip, step) {
  const other = step < 0 ? clip.previousElementSibling : clip.nextElementSibling;
  if (!other) return;
  const focused = document.activeElement;
  if (step < 0) other.before(clip);
  else other.after(clip);
  numbered();
  const back = focused && clip.contains(focused) && !focused.disabled ? focused : clip.querySelector("[data-move]:not(:disabled)");
  back?.focus();
  clip.scrollIntoView({ block: "nearest" });
  changed();
  saved.textContent = `Clip moved to place ${clips().indexOf(clip) + 1} of ${items.children.length}.`;
}

items.addEventListener("click", (event) => {
  const clip = event.target.closest(".clip");
  if (event.target.dataset.move) move(clip, Number(event.target.dataset.move));
  if ("remove" in event.target.dataset) {
    const next = clip.nextElementSibling ?? clip.previousElementSibling;
    clip.remove();
    numbered();
    (next?.querySelector("[data-remove]") ?? at("reel-title")).focus();
    changed(0);
  }
});

items.addEventListener("keydown", (event) => {
  if (!event.altKey || !["ArrowUp", "ArrowDown"].includes(event.key)) return;
  event.preventDefault();
  move(event.target.closest(".clip"), event.key === "ArrowUp" ? -1 : 1);
});

// Dragging by the handle, with a mouse or a finger.
items.addEventListener("pointerdown", (event) => {
  if (!event.target.classList.contains("handle")) return;
  event.preventDefault();
  const clip = event.target.closest(".clip");
  const before = clips().indexOf(clip);
  clip.dataset.dragged = "";
  event.target.setPointerCapture(event.pointerId);
  const follow = (to) => {
    const over = clips().find((other) => {
      const box = other.getBoundingClientRect();
      return other !== clip && to.clientY > box.top && to.clientY < box.bottom;
    });
    if (over) {
      const box = over.getBoundingClientRect();
      const down = clips().indexOf(over) > clips().indexOf(clip);
      if (down && to.clientY > box.top + box.height / 2) over.after(clip);
      else if (!down && to.clientY < box.top + box.height / 2) over.before(clip);
    }
    const edge = 60;
    if (to.clientY < edge) scrollBy(0, -12);
    else if (to.clientY > innerHeight - edge) scrollBy(0, 12);
  };
  const drop = () => {
    event.target.removeEventListener("pointermove", follow);
    delete clip.dataset.dragged;
    numbered();
    if (clips().indexOf(clip) !== before) changed(0);
  };
  event.target.addEventListener("pointermove", follow);
  event.target.addEventListener("lostpointercapture", drop, { once: true });
});

builder.addEventListener("input", () => changed());
builder.addEventListener("change", () => changed(100));
addEventListener("pagehide", () => {
  if (dirty && !stuck) send(path, reel(), { keepalive: true }).catch((error) => console.warn(error));
});
addEventListener("beforeunload", (event) => (stuck || sending) && dirty && event.preventDefault());

// Play, share and make a film of what is saved, not of what is about to be.
at("play").addEventListener("click", async (event) => {
  if (!dirty && !sending) return;
  event.preventDefault();
  await save();
  if (!dirty) location.href = at("play").href;
});

async function follow(job) {
  at("film").disabled = true;
  const done = await watch(job, at("film-job"));
  at("film").disabled = !items.children.length;
  at("film-link").hidden = done.standing !== "done";
}
at("film").addEventListener("click", async () => {
  try {
    await save();
    if (!dirty) await follow(await send(`${path}/film`));
  } catch (error) {
    at("film-job").hidden = false;
    at("film-job").querySelector("progress").hidden = true;
    at("film-job").querySelector("span").textContent = error.message;
    at("film").disabled = false;
  }
});
if (at("film").dataset.job) follow({ job: at("film").dataset.job, going: true, share: 0, doing: "" });

if (at("copy") && navigator.clipboard) {
  at("copy").hidden = false;
  at("copy").addEventListener("click", async () => {
    await navigator.clipboard.writeText(at("link").value);
    at("copy").textContent = "Copied";
  });
}
at("drop").addEventListener("submit", (event) => {
  if (!confirm("Throw this reel away? Its link, if it has one, leads nowhere then.")) event.preventDefault();
});
numbered();
