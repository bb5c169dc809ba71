// The desk: one tag after the other with its film, decided by single keys, clicks or taps.
import { Outbox } from "./outbox.js";
import { Player, begin } from "./player.js";

const desk = document.getElementById("desk");
const player = new Player(desk.querySelector(".player"));
const outbox = new Outbox();
const $ = (name) => desk.querySelector(`[data-at="${name}"]`);
const NUDGE_S = Number(desk.dataset.nudge);
const STATE_WORDS = { candidate: "to decide", confirmed: "confirmed", rejected: "rejected", unsure: "unsure", withdrawn: "no longer found" };
const VERDICT_WORDS = { confirmed: "confirmed", rejected: "rejected", unsure: "set to unsure" };
const SETTLE_MS = 450;

const queue = [...desk.querySelectorAll("[data-queued]")].map((item) => ({ tag: Number(item.dataset.queued), item }));
const single = desk.dataset.single === "yes";
const cards = new Map();
const mine = []; // what this page changed, newest last: {tag, kind}
let place = -1;
let card = null;
let settling = null; // a nudge that waits for the next

async function fetchCard(tag) {
  const answer = await fetch(`/api/tags/${tag}`, { headers: { Accept: "application/json" } });
  const told = await answer.json();
  if (!answer.ok) throw new Error(told.error);
  return told;
}

function cardOf(tag) {
  if (!cards.has(tag)) {
    const coming = fetchCard(tag);
    coming.catch(() => cards.delete(tag));
    cards.set(tag, coming);
  }
  return cards.get(tag);
}

async function go(to) {
  flush();
  writeNote();
  if (!queue.length) { finish(); return; }
  place = Math.min(Math.max(to, 0), queue.length - 1);
  const { tag, item } = queue[place];
  for (const other of queue) other.item.removeAttribute("aria-current");
  item.setAttribute("aria-current", "true");
  desk.dataset.tag = tag;
  desk.dataset.ready = "";
  const shown = player.show(tag);
  try {
    const told = await cardOf(tag);
    if (queue[place].tag !== tag) return;
    card = told;
    fill();
    desk.dataset.ready = tag;
  } catch (error) {
    if (queue[place].tag === tag) say(`Tag ${tag} cannot be shown: ${error.message}`, "bad");
  }
  await shown;
  if (card?.tag === tag) fillChoices();
  for (const ahead of [1, 2]) {
    const next = queue[place + ahead];
    if (!next) break;
    cardOf(next.tag).catch(() => {});
    player.prepare(next.tag).catch(() => {});
  }
}

function next(from = place) {
  const open = queue.findIndex((one, i) => i > from && !one.done);
  if (open >= 0) go(open);
  else if (single) go(place);
  else {
    const left = queue.findIndex((one) => !one.done);
    if (left >= 0 && left !== place) go(left); else finish();
  }
}

function finish() {
  desk.querySelector('[data-at="done"]').hidden = false;
  desk.querySelector('[data-at="work"]').hidden = true;
  player.pause();
  desk.querySelector('[data-at="done"]').focus();
}

function work() {
  desk.querySelector('[data-at="done"]').hidden = true;
  desk.querySelector('[data-at="work"]').hidden = false;
}

// ---- what is shown -----------------------------------------------------------------------------------------------

function element(name, text, attributes = {}) {
  const made = document.createElement(name);
  if (text) made.textContent = text;
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  return made;
}

function fill() {
  work();
  const when = [card.when.film, card.when.game].filter(Boolean).join(" · ");
  $("title").textContent = card.title;
  $("where").textContent = `${card.game}, ${when}`;
  $("number").textContent = `Tag ${card.tag}`;
  $("number").href = `/tags/${card.tag}`;
  for (const link of desk.querySelectorAll("[data-drawing]")) link.href = `/drawings/${card.tag}.${link.dataset.drawing}`;
  $("sentence").textContent = $("head-sentence").textContent = card.sentence;
  const likely = queue[place].item.dataset.likely;
  const score = `${Math.round(100 * card.score)} in 100`;
  const sure = likely ? `Staff confirmed about ${likely} in 100 of those like it; the rule is sure to ${score}.` : `The rule is sure to ${score}.`;
  $("sure").textContent = card.severity && card.family === "fault" ? `${sure} Severity: ${card.severity}.` : sure;
  const people = $("people");
  people.replaceChildren(...card.actors.map((actor) => {
    const line = element("li");
    line.append(element("span", actor.badge === null ? "" : String(actor.badge), { class: `mark ${actor.side}${actor.main ? " handler" : ""}` }), ` ${actor.role}: ${actor.name}`);
    return line;
  }));
  const evidence = $("evidence");
  evidence.replaceChildren(...card.evidence.map((block, i) => {
    const part = element("div", "", { class: "block" });
    part.append(...block.map((line, k) => element("p", line, i && !k ? { class: "soft" } : {})));
    return part;
  }));
  $("known-labels").replaceChildren(...card.known_labels.map((label) => element("option", "", { value: label })));
  stand();
  progress();
}

/** A choice of players for each role; who is on the floor is known once the film's data is there. */
function fillChoices() {
  const bodies = player.play?.tag === card.tag ? player.play.bodies.filter((body) => body.side !== "official") : [];
  const called = (body) => [body.number ? `number ${body.number}` : `track ${body.track}`, body.name, body.side].filter(Boolean).join(", ");
  $("change-people").replaceChildren(...card.actors.map((actor, place_) => {
    const field = element("div", "", { class: "field" });
    const select = element("select", "", { id: `actor-${place_}` });
    const known = bodies.some((body) => body.track === actor.track) ? bodies : [{ track: actor.track, number: null, name: actor.name, side: "" }, ...bodies];
    select.append(...known.map((body) => element("option", called(body), { value: body.track })));
    select.value = String(actor.track);
    select.addEventListener("change", () => recast(place_, Number(select.value)));
    field.append(element("label", actor.role, { for: select.id }), select);
    return field;
  }));
}

/** What changes with every decision. */
function stand() {
  const waiting = outbox.waiting(card.tag).length > 0;
  const pill = $("state");
  pill.dataset.state = card.state;
  pill.textContent = STATE_WORDS[card.state] + (waiting ? ", being saved" : "");
  const by = card.decided_by && card.state !== "candidate" ? `by ${card.decided_by}` : "";
  $("by").textContent = [by, card.found ? "" : "the latest run no longer finds it"].filter(Boolean).join(", ");
  $("from").textContent = card.from_s.toFixed(2);
  $("to").textContent = card.to_s.toFixed(2);
  const moved = card.from_s !== card.found_from_s || card.to_s !== card.found_to_s;
  $("moved").textContent = moved ? `found as ${card.found_from_s.toFixed(2)} to ${card.found_to_s.toFixed(2)}` : "as found";
  $("labels").replaceChildren(...card.labels.map((label) => {
    const button = element("button", `${label} ✕`, { type: "button", class: "small", "aria-label": `Take the label ${label} off` });
    button.addEventListener("click", () => relabel([], [label]));
    return button;
  }));
  if (document.activeElement !== $("note")) $("note").value = card.note;
  $("history").replaceChildren(...card.history.slice().reverse().map((line) => {
    const item = element("li");
    const at = element("time", new Date(line.when).toLocaleString([], { dateStyle: "medium", timeStyle: "short" }), { datetime: line.when, class: "soft" });
    item.append(`${line.who} ${line.did}`, line.text ? `: ${line.text}` : "", " ", at);
    return item;
  }));
  for (const button of desk.querySelectorAll("[data-verdict]")) button.setAttribute("aria-pressed", String(button.dataset.verdict === card.state));
}

function progress() {
  const left = queue.filter((one) => !one.done).length;
  if (!single) $("progress").textContent = `${place + 1} of ${queue.length}, ${left} left`;
}

function say(text, style = "") {
  const place_ = document.getElementById("said");
  place_.textContent = text;
  place_.className = `said ${style}`;
}

// ---- what is done ------------------------------------------------------------------------------------------------

function decide(verdict) {
  if (!card || desk.dataset.ready !== String(card.tag)) return;
  flush();
  const { tag } = card;
  outbox.send({ tag, path: `/api/tags/${tag}/decide`, body: { verdict, revision: card.revision }, words: `tag ${tag} ${VERDICT_WORDS[verdict]}` });
  mine.push({ tag });
  card.state = verdict;
  card.decided_by = outbox.who;
  mark(tag, verdict);
  stand();
  if (!single) next();
}

function mark(tag, state) {
  const one = queue.find((entry) => entry.tag === tag);
  if (!one) return;
  one.done = state !== "candidate";
  one.item.dataset.state = state;
  one.item.querySelector("[data-queued-state]").textContent = one.done ? STATE_WORDS[state] : "";
  progress();
}

async function undo() {
  flush();
  const last = mine.pop();
  const tag = last?.tag ?? card?.tag;
  if (!tag) return;
  const told = await cardOf(tag).catch(() => null);
  if (!told) { say(`Tag ${tag} is not there any more.`, "bad"); return; }
  outbox.send({ tag, path: `/api/tags/${tag}/undo`, body: { revision: told.revision }, words: `last step with tag ${tag} taken back` });
  const at = queue.findIndex((one) => one.tag === tag);
  if (at >= 0 && at !== place) go(at);
}

function nudge(start, end) {
  if (!card) return;
  const from = Math.max(0, round(card.from_s + start * NUDGE_S)), to = round(card.to_s + end * NUDGE_S);
  if (to - from < NUDGE_S) { say("A tag lasts at least one nudge.", "bad"); return; }
  card.from_s = from;
  card.to_s = to;
  player.setInterval(from, to);
  player.pause();
  player.seek(end ? to : from);
  stand();
  if (settling) clearTimeout(settling.timer);
  settling = { tag: card.tag, card, timer: setTimeout(flush, SETTLE_MS) };
}

const round = (t) => Math.round(t * 1000) / 1000;

/** Send the nudge that has been waiting for another. */
function flush() {
  if (!settling) return;
  clearTimeout(settling.timer);
  const { tag, card: moved } = settling;
  settling = null;
  outbox.send({ tag, path: `/api/tags/${tag}/interval`, body: { from_s: moved.from_s, to_s: moved.to_s, revision: moved.revision }, words: `tag ${tag} now lasts from ${moved.from_s.toFixed(2)} to ${moved.to_s.toFixed(2)}` });
  mine.push({ tag });
}

function recast(at, track) {
  flush();
  const { tag } = card;
  const actors = card.actors.map((actor, i) => [actor.role.replaceAll(" ", "_"), i === at ? track : actor.track]);
  outbox.send({ tag, path: `/api/tags/${tag}/players`, body: { actors, revision: card.revision }, words: `players of tag ${tag} changed` });
  mine.push({ tag });
}

function relabel(add, remove) {
  if (!card) return;
  outbox.send({ tag: card.tag, path: `/api/tags/${card.tag}/label`, body: { add, remove }, words: `labels of tag ${card.tag} changed` });
  card.labels = [...new Set([...card.labels.filter((one) => !remove.includes(one)), ...add])].sort();
  stand();
}

function writeNote() {
  if (!card || $("note").value === card.note) return;
  outbox.send({ tag: card.tag, path: `/api/tags/${card.tag}/note`, body: { text: $("note").value, revision: card.revision }, words: `note of tag ${card.tag} written` });
  card.note = $("note").value;
}

// ---- what the server says ----------------------------------------------------------------------------------------

outbox.addEventListener("saved", async ({ detail: { change, told } }) => {
  const known = await cardOf(change.tag).catch(() => null);
  const pending = outbox.waiting(change.tag).length > 0;
  if (known) {
    const keep = pending ? { state: known.state, decided_by: known.decided_by, from_s: known.from_s, to_s: known.to_s, labels: known.labels, note: known.note } : {};
    if (settling?.tag === change.tag) Object.assign(keep, { from_s: known.from_s, to_s: known.to_s });
    Object.assign(known, told, keep);
  }
  mark(change.tag, known ? known.state : told.state);
  if (card?.tag === change.tag) {
    if (change.path.endsWith("/undo")) player.setInterval(card.from_s, card.to_s);
    stand();
    if (told.tracks.some((track, i) => track !== card.actors[i]?.track)) afresh(change.tag);
  }
  const left = queue.filter((one) => !one.done).length;
  say(`Saved: ${change.words}.${single ? "" : ` ${left} left.`}`, "good");
});

/** Who takes part has changed: fetch what is said and drawn again. */
async function afresh(tag) {
  cards.delete(tag);
  player.forget(tag);
  const t = player.t;
  const told = await cardOf(tag).catch(() => null);
  if (!told || card?.tag !== tag) return;
  card = told;
  fill();
  await player.show(tag);
  player.pause();
  player.seek(t);
  fillChoices();
}

outbox.addEventListener("state", ({ detail: { waiting, trouble } }) => {
  const told = document.getElementById("outbox");
  told.textContent = trouble ? `${waiting} not saved yet. ${trouble}` : waiting ? `Saving ${waiting} …` : "Everything is saved.";
  told.className = trouble ? "notice bad" : "soft small";
  document.body.dataset.waiting = waiting;
});

outbox.addEventListener("refused", async ({ detail: { change, error } }) => {
  cards.delete(change.tag);
  say(`Not saved: ${change.words}. ${error}`, "bad");
  const told = await cardOf(change.tag).catch(() => null);
  if (told) {
    mark(change.tag, told.state);
    if (card?.tag === change.tag) { card = told; player.setInterval(card.from_s, card.to_s); stand(); }
  }
});

outbox.addEventListener("others", ({ detail: { count, who } }) => {
  const told = document.getElementById("others");
  told.textContent = `${count} change(s) of ${who} wait in this browser; they are saved when ${who} is here again.`;
  told.hidden = false;
});

// Somebody else was first: show what they did, and let the reader choose.
const conflicts = [];
const dialog = document.getElementById("conflict");
outbox.addEventListener("conflict", ({ detail }) => {
  conflicts.push(detail);
  if (!dialog.open) showConflict();
});

function showConflict() {
  const one = conflicts[0];
  if (!one) return;
  const { current, last, mine: own } = one;
  const who = last ? `${last.who} ${last.did}${last.text ? ` (${last.text})` : ""}` : "somebody changed it";
  dialog.querySelector("[data-theirs]").textContent = `Tag ${current.tag}: ${who} before your change came in. It is ${STATE_WORDS[current.state]} now.`;
  dialog.querySelector("[data-mine]").textContent = `You wanted: ${own.map((change) => change.words).join("; ")}.`;
  dialog.showModal();
}

dialog.addEventListener("close", async () => {
  const one = conflicts.shift();
  if (!one) return;
  const { current, mine: own } = one;
  const known = await cardOf(current.tag).catch(() => null);
  if (known) Object.assign(known, current);
  mark(current.tag, current.state);
  if (dialog.returnValue === "mine") {
    for (const change of own) {
      if ("revision" in change.body) change.body.revision = current.revision;
      outbox.send({ tag: change.tag, path: change.path, body: change.body, words: change.words });
      if (change.body.verdict) { if (known) known.state = change.body.verdict; mark(change.tag, change.body.verdict); }
    }
  } else {
    for (let i = mine.length - 1; i >= 0; i--) if (mine[i].tag === current.tag) mine.splice(i, 1);
    say(`Kept as it was: tag ${current.tag} is ${STATE_WORDS[current.state]}.`);
  }
  if (card?.tag === current.tag) { player.setInterval(card.from_s, card.to_s); stand(); }
  showConflict();
});

// ---- keys, clicks, taps ------------------------------------------------------------------------------------------

const DEEDS = {
  confirm: () => decide("confirmed"), reject: () => decide("rejected"), unsure: () => decide("unsure"), undo,
  next: () => { if (place + 1 < queue.length) go(place + 1); else say("This is the last one."); },
  previous: () => { if (place > 0) go(place - 1); else say("This is the first one."); },
  "start-earlier": () => nudge(-1, 0), "start-later": () => nudge(1, 0),
  "end-earlier": () => nudge(0, -1), "end-later": () => nudge(0, 1),
  note: () => { $("note").closest("details")?.setAttribute("open", ""); $("note").focus(); },
  label: () => $("label").focus(),
  keys: () => document.getElementById("keys").showModal(),
};
for (const name of ["play", "again", "back", "forth", "slower", "faster", "sound", "drawing"]) DEEDS[name] = () => player.do(name);

const KEYS = {};
for (const row of document.querySelectorAll("#keys [data-deed]")) KEYS[row.dataset.key] = row.dataset.deed;

const keySwitch = document.getElementById("keys-on");
keySwitch.checked = localStorage.getItem("keys") !== "off";
keySwitch.addEventListener("change", () => localStorage.setItem("keys", keySwitch.checked ? "on" : "off"));

document.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.metaKey || event.altKey || !keySwitch.checked) return;
  const { target } = event;
  if (target.closest("textarea, select, input:not([type=range]):not([type=checkbox])")) {
    if (event.key === "Escape") { target.blur(); event.preventDefault(); }
    return;
  }
  if (document.querySelector("dialog[open]")) return;
  const key = event.key.length === 1 ? event.key.toLowerCase() : event.key;
  if ((key === " " || key === "Enter") && target.closest("button, a, summary, input")) return;
  if (key.startsWith("Arrow") && target.closest("input[type=range]")) return;
  const deed = KEYS[key];
  if (!deed || (event.repeat && ["confirm", "reject", "unsure", "undo", "next", "previous"].includes(deed))) return;
  event.preventDefault();
  DEEDS[deed]();
});

for (const button of document.querySelectorAll("[data-deed-button]")) button.addEventListener("click", () => DEEDS[button.dataset.deedButton]());
$("note").addEventListener("change", writeNote); // leaving the field saves what was typed
addEventListener("pagehide", () => { writeNote(); flush(); });
$("note").addEventListener("keydown", (event) => {
  if (event.key === "Enter" && (event.ctrlKey || event.metaKey)) { event.preventDefault(); writeNote(); $("note").blur(); }
});
$("note-form").addEventListener("submit", (event) => { event.preventDefault(); writeNote(); $("note").blur(); });
$("label-form").addEventListener("submit", (event) => {
  event.preventDefault();
  const label = $("label").value.trim();
  if (label) relabel([label], []);
  $("label").value = "";
  $("label").blur();
});
for (const { tag, item } of queue) {
  item.querySelector("a").addEventListener("click", (event) => {
    if (event.ctrlKey || event.metaKey || event.shiftKey || event.button) return;
    event.preventDefault();
    go(queue.findIndex((one) => one.tag === tag));
  });
}
for (const one of queue) one.done = one.item.dataset.state !== "candidate" && desk.dataset.state === "candidate";

outbox.begin().then(() => (queue.length ? go(0) : finish()));
