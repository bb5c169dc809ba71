// Plays a reel clip by clip: each at its speed, standing still at its moment where it is asked to, then the next one.
import { Player } from "./player.js";

const at = (id) => document.getElementById(id);
const { holdS, slowBeforeS, slowAfterS } = at("reel").dataset; // as in the film that is made of a reel
const root = document.querySelector(".player");
const entries = [...document.querySelectorAll(".clip-list button")];
const clips = entries.map(({ dataset }) => ({
  tag: Number(dataset.tag),
  slow: Number(dataset.slow),
  freeze: dataset.freeze === "1",
  title: dataset.title,
  note: dataset.note,
  where: dataset.where,
}));
const player = new Player(root);
let now = -1;
let stood = false; // whether this clip's still moment has been shown
let over = false; // whether its end has been reached
let timer = 0;
let own = 1; // the speed that the reel asks for now; the viewer's own changes stand

async function show(place) {
  if (place < 0 || place >= clips.length) return;
  clearTimeout(timer);
  now = place;
  stood = false;
  over = true; // nothing counts until the clip is there
  const clip = clips[place];
  at("now-place").textContent = `Clip ${place + 1} of ${clips.length}, ${clip.where}`;
  at("now-title").textContent = clip.title;
  at("now-note").textContent = clip.note;
  at("now-note").hidden = !clip.note;
  entries.forEach((entry, other) => {
    if (other === place) entry.setAttribute("aria-current", "true");
    else entry.removeAttribute("aria-current");
  });
  entries[place].scrollIntoView({ block: "nearest" });
  at("before").disabled = place === 0;
  at("next").disabled = place === clips.length - 1;
  player.speed = own = 1;
  const shown = await player.show(clip.tag);
  if (now !== place) return;
  over = !shown;
  if (place + 1 < clips.length) player.prepare(clips[place + 1].tag).catch((error) => console.warn(error));
}

function ended() {
  if (over) return;
  over = true;
  if (at("on").checked && now + 1 < clips.length) timer = setTimeout(() => show(now + 1), 600);
}

root.addEventListener("moment", (event) => {
  const { play } = player;
  if (!play || over || play.tag !== clips[now].tag) return;
  const t = event.detail.t_s;
  const around = t > play.t_s - slowBeforeS && t < play.t_s + Number(slowAfterS);
  const wanted = around ? clips[now].slow : 1;
  if (wanted !== own) {
    if (player.speed === own) player.speed = player.video.playbackRate = wanted;
    own = wanted;
  }
  if (t < play.t_s - 0.5) stood = false;
  if (clips[now].freeze && !stood && !player.paused && t >= play.t_s && t < play.t_s + 0.5) {
    stood = true;
    player.pause();
    root.dataset.still = "";
    const place = now;
    timer = setTimeout(() => {
      delete root.dataset.still;
      if (now === place && player.paused) player.start();
    }, 1000 * holdS);
  }
  if (t >= play.end_s - 0.02) ended();
});
root.addEventListener("ended", ended, true); // a film that ends before its clip does

// Whoever plays it once more wants its still moment and its end once more.
root.addEventListener("click", () => {
  clearTimeout(timer);
  delete root.dataset.still;
  if (player.play && player.t < player.play.end_s - 0.1) over = false;
});

at("before").addEventListener("click", () => show(now - 1));
at("next").addEventListener("click", () => show(now + 1));
entries.forEach((entry, place) => entry.addEventListener("click", () => show(place)));

const KEYS = { " ": "play", a: "again", ArrowLeft: "back", ArrowRight: "forth", s: "slower", w: "faster", m: "sound", o: "drawing" };
addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.metaKey || event.altKey) return;
  const typing = event.target.closest("input:not([type=checkbox]), textarea, select");
  const key = event.key.length === 1 ? event.key.toLowerCase() : event.key;
  if (typing || (key === " " && event.target.closest("button, a, input"))) return;
  if (key === "n") show(now + 1);
  else if (key === "p") show(now - 1);
  else if (KEYS[key]) {
    clearTimeout(timer);
    delete root.dataset.still;
    player.do(KEYS[key]);
    if (player.play && player.t < player.play.end_s - 0.1) over = false;
  } else return;
  event.preventDefault();
});

if (clips.length) show(0);
