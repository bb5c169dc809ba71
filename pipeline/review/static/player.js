// The film of a tag with the floor drawn on it, and the half court from above, at the same moment.
import { around, bar, dense, fromAbove, heightAt, outline, placeAt, projection } from "./floor.js";
import { badge, circle, fill, fitted, label, mark, stroke } from "./ink.js";

const SPEEDS = [0.1, 0.25, 0.5, 0.75, 1, 1.5, 2, 3];
const LEAD_S = 1.5; // film before the tag begins, when it is shown at once
const TRAIL_S = 1.2;
const DEPTH_FT = 46, HALF_WIDTH_FT = 26.5;
const KEPT = 4;

export const still = () => matchMedia("(prefers-reduced-motion: reduce)").matches;

async function json(url) {
  const answer = await fetch(url, { headers: { Accept: "application/json" } });
  const told = await answer.json();
  if (!answer.ok) throw new Error(told.error || `The server answered ${answer.status}.`);
  return told;
}

export class Player {
  /** @param {HTMLElement} root the markup of player.html */
  constructor(root) {
    this.root = root;
    this.film = root.querySelector(".film");
    this.over = root.querySelector(".over");
    this.court = root.querySelector(".court");
    this.stretch = root.querySelector(".stretch");
    this.range = root.querySelector("input[type=range]");
    this.clock = root.querySelector("[data-clock]");
    this.video = root.querySelector("video");
    this.play = null; // what is drawn
    this.t = 0; // film time on show
    this.speed = 1;
    this.drawing = true;
    this.muted = true;
    this.prepared = new Map();
    this.walking = null; // running clock of a game without film
    root.querySelectorAll("[data-do]").forEach((b) => b.addEventListener("click", () => this.do(b.dataset.do)));
    this.range.addEventListener("input", () => this.seek(this.fromRange(this.range.value)));
    new ResizeObserver(() => this.draw()).observe(root);
    document.addEventListener("light", () => this.draw());
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => this.draw());
  }

  /** Get a tag's film and data ready; a promise of them. */
  prepare(tag) {
    if (!this.prepared.has(tag)) {
      const ready = json(`/api/tags/${tag}/play.json`).then((play) => ({ play, video: this.videoOf(play) }));
      ready.catch(() => this.prepared.delete(tag));
      this.prepared.set(tag, ready);
      while (this.prepared.size > KEPT) {
        const oldest = this.prepared.keys().next().value;
        this.prepared.get(oldest).then(({ video }) => video !== this.video && video.removeAttribute("src"), () => {});
        this.prepared.delete(oldest);
      }
    }
    return this.prepared.get(tag);
  }

  /** What is drawn for a tag has changed: the next time it is asked for anew. */
  forget(tag) { this.prepared.delete(tag); }

  videoOf(play) {
    const video = document.createElement("video");
    video.playsInline = true;
    video.muted = true;
    video.preload = "auto";
    video.ariaLabel = "The film";
    video.disablePictureInPicture = true;
    if (play.film) {
      video.src = play.film.url;
      video.addEventListener("loadedmetadata", () => { video.currentTime = this.mediaTime(play, begin(play)); }, { once: true });
    }
    return video;
  }

  /** Show a tag, from a little before it begins. */
  async show(tag) {
    this.wanted = tag;
    let ready;
    try {
      ready = await this.prepare(tag);
    } catch (error) {
      if (this.wanted === tag) this.say(error.message);
      return false;
    }
    if (this.wanted !== tag) return false;
    this.pause();
    const { play, video } = ready;
    this.play = play;
    if (video !== this.video) {
      this.video.replaceWith(video);
      this.video = video;
      this.listen(video);
    }
    this.root.dataset.tag = tag;
    video.hidden = !play.film;
    this.say(play.film ? "" : play.no_film || "This game has no film.");
    this.root.classList.toggle("without-film", !play.film);
    this.film.style.setProperty("aspect-ratio", play.cameras ? play.cameras.size_px.join(" / ") : "");
    video.muted = this.muted;
    this.t = begin(play);
    this.seek(this.t);
    if (!still()) this.start();
    return true;
  }

  say(sentence) {
    const place = this.film.querySelector(".no-film");
    place.textContent = sentence;
    place.hidden = !sentence;
  }

  note(sentence) {
    const place = this.film.querySelector(".film-note");
    place.textContent = sentence;
    place.hidden = !sentence;
  }

  listen(video) {
    const mine = (f) => (event) => { if (video === this.video) f(event); };
    video.addEventListener("play", mine(() => this.follow(video)));
    video.addEventListener("pause", mine(() => this.buttons()));
    video.addEventListener("playing", mine(() => this.note("")));
    video.addEventListener("waiting", mine(() => this.note("The film is coming …")));
    video.addEventListener("loadeddata", mine(() => { this.note(""); this.onFrame(video.currentTime); }));
    video.addEventListener("seeked", mine(() => this.onFrame(video.currentTime)));
    video.addEventListener("error", mine(() => {
      this.say("Your browser cannot play this film; the half court beside it still moves.");
      video.hidden = true;
      this.broken = video;
    }));
    if (video.readyState < 2 && this.play.film) this.note("The film is coming …");
    if ("requestVideoFrameCallback" in video) {
      const onFrame = (_, frame) => {
        if (video !== this.video) return;
        this.onFrame(frame.mediaTime);
        video.requestVideoFrameCallback(onFrame);
      };
      video.requestVideoFrameCallback(onFrame);
    }
  }

  /** Browsers that do not tell frames: look at the time with every picture of the screen. */
  follow(video) {
    this.buttons();
    if ("requestVideoFrameCallback" in video) return;
    const look = () => {
      if (video !== this.video || video.paused) return;
      this.onFrame(video.currentTime);
      requestAnimationFrame(look);
    };
    requestAnimationFrame(look);
  }

  onFrame(mediaTime) {
    if (!this.play?.film) return;
    this.t = this.onFilm(mediaTime);
    if (this.t >= this.play.end_s && !this.video.paused) this.video.pause();
    this.draw();
  }

  /** Film time of a media time: that of the frame on show. */
  onFilm(mediaTime) {
    const t = mediaTime + this.play.film.begins_s;
    const frame = this.frameAt(t);
    return frame < 0 ? t : this.play.frames_s[frame];
  }

  frameAt(t) {
    const times = this.play.frames_s;
    let low = 0, high = times.length;
    while (low < high) {
      const middle = (low + high) >> 1;
      if (times[middle] <= t + 0.0015) low = middle + 1; else high = middle;
    }
    return low - 1;
  }

  /** Where in the file a film time is: well inside its frame, so that rounding cannot show the one before. */
  mediaTime(play, t) {
    const times = play.frames_s;
    let frame = times.findIndex((time) => time > t + 0.0015) - 1;
    if (frame === -2) frame = times.length - 1;
    if (frame < 0) return Math.max(0, t - play.film.begins_s);
    const next = times[frame + 1] ?? times[frame] + 0.03;
    return Math.max(0, times[frame] + 0.3 * (next - times[frame]) - play.film.begins_s);
  }

  get showsFilm() { return Boolean(this.play?.film) && this.broken !== this.video; }
  get paused() { return this.showsFilm ? this.video.paused : this.walking === null; }

  seek(t) {
    if (!this.play) return;
    const to = Math.min(Math.max(t, this.first), this.last);
    this.t = to;
    if (this.showsFilm) this.video.currentTime = this.mediaTime(this.play, to);
    this.draw();
  }

  get first() { return Math.max(0, this.play.start_s - 2); }
  get last() { return this.play.end_s + 2; }

  start() {
    if (!this.play) return;
    if (this.t >= this.play.end_s - 0.05) this.seek(begin(this.play));
    if (this.showsFilm) {
      this.video.playbackRate = this.speed;
      this.video.play().catch(() => this.buttons());
    } else this.walk();
    this.buttons();
  }

  /** Without film the clock runs by itself. */
  walk() {
    let before = performance.now();
    const step = (now) => {
      if (this.walking === null) return;
      this.t += ((now - before) / 1000) * this.speed;
      before = now;
      if (this.t >= this.play.end_s) { this.t = this.play.end_s; this.walking = null; this.buttons(); }
      else this.walking = requestAnimationFrame(step);
      this.draw();
    };
    this.walking = requestAnimationFrame(step);
  }

  pause() {
    if (this.walking !== null) cancelAnimationFrame(this.walking);
    this.walking = null;
    this.video.pause();
    this.buttons();
  }

  step(frames) {
    if (!this.play) return;
    this.pause();
    const times = this.play.frames_s;
    if (!times.length) { this.seek(this.t + frames * 0.04); return; }
    const to = Math.min(Math.max(this.frameAt(this.t) + frames, 0), times.length - 1);
    this.seek(times[to]);
  }

  setSpeed(change) {
    const place = SPEEDS.indexOf(this.speed) + change;
    this.speed = SPEEDS[Math.min(Math.max(place, 0), SPEEDS.length - 1)];
    this.video.playbackRate = this.speed;
    this.draw();
  }

  do(what) {
    const deeds = {
      play: () => (this.paused ? this.start() : this.pause()),
      again: () => { if (this.play) { this.seek(begin(this.play)); this.start(); } },
      back: () => this.step(-1),
      forth: () => this.step(1),
      slower: () => this.setSpeed(-1),
      faster: () => this.setSpeed(1),
      sound: () => { this.muted = !this.muted; this.video.muted = this.muted; this.buttons(); },
      drawing: () => { this.drawing = !this.drawing; this.buttons(); this.draw(); },
    };
    deeds[what]();
  }

  buttons() {
    const word = this.root.querySelector('[data-do="play"] [data-word]');
    if (word) word.textContent = this.paused ? "Play" : "Pause";
    this.root.querySelector('[data-do="sound"]')?.setAttribute("aria-pressed", String(!this.muted));
    this.root.querySelector('[data-do="drawing"]')?.setAttribute("aria-pressed", String(this.drawing));
  }

  fromRange(value) { return this.first + ((this.last - this.first) * value) / 1000; }

  /** The interval was moved: show it on the strip. */
  setInterval(from, to) {
    if (!this.play) return;
    this.play.from_s = from;
    this.play.to_s = to;
    this.play.start_s = Math.min(this.play.start_s, Math.max(0, from - 1));
    this.play.end_s = Math.max(this.play.end_s, to + 1);
    this.draw();
  }

  draw() {
    if (!this.play) return;
    this.drawOver();
    this.drawCourt();
    this.drawStretch();
    const place = (1000 * (this.t - this.first)) / (this.last - this.first);
    this.range.value = String(Math.round(place));
    const words = `${clockOf(this.t)}${this.speed === 1 ? "" : `, ${this.speed} × speed`}`;
    if (this.clock.textContent !== words) {
      this.clock.textContent = words;
      this.range.setAttribute("aria-valuetext", clockOf(this.t));
    }
    this.root.dispatchEvent(new CustomEvent("moment", { detail: { t_s: this.t } }));
  }

  drawOver() {
    const [paper, width, height] = fitted(this.over);
    paper.clearRect(0, 0, width, height);
    const { play, t } = this;
    const seen = projection(play.cameras, t, play.bridge_s);
    if (!this.drawing || !play.film || !seen || !width) return;
    const scale = width / play.cameras.size_px[0];
    const at = (x, y, z = 0) => {
      const px = seen(x, y, z);
      return px && Math.abs(px[0]) < 2e4 && Math.abs(px[1]) < 2e4 ? [(px[0] + 0.5) * scale, (px[1] + 0.5) * scale] : null;
    };
    const unit = Math.max(1, width / 960);
    const { colours } = play;
    if (play.floor) fill(paper, dense(play.floor.paint, true).map(([x, y]) => at(x, y)), colours.paint, 0.26);
    for (const [from, to] of this.bars(t)) stroke(paper, dense([from, to], false).map(([x, y]) => at(x, y)), "#ffffff", 5 * unit);
    for (const body of play.bodies) {
      const place = placeAt(body, t, play.bridge_s);
      if (!place || body.side === "official") continue;
      const [x, y] = place;
      const colour = body.main ? colours.handler : colours[body.side];
      const taking = body.badge !== null;
      const ring = (radius) => dense(outline(body.side, x, y, radius), true, 0.4).map(([a, b]) => at(a, b));
      if (taking) fill(paper, ring(play.ring_radius_ft), colour, 0.22);
      stroke(paper, ring(play.ring_radius_ft), colour, (taking ? 2.6 : 1.2) * unit, taking ? 1 : 0.75);
      if (body.main) stroke(paper, ring(play.ring_radius_ft * 1.45), colour, 1.6 * unit);
      const head = at(x, y, 7.6);
      if (taking && head) badge(paper, head[0], head[1], body.badge, body.side, colour, 11 * unit);
    }
    const ball = placeAt(play.ball, t, play.bridge_s);
    const high = ball && heightAt(play.ball, t, play.bridge_s);
    const spot = ball && high !== null && at(ball[0], ball[1], high);
    if (spot) stroke(paper, circle(spot[0], spot[1], 8 * unit), "#ffffff", 1.6 * unit, 0.9);
  }

  bars(t) {
    const body = (track) => this.play.bodies.find((one) => one.track === track);
    return this.play.screens
      .filter((screen) => t >= screen.t_s - 0.8 && t <= Math.min(screen.end_s, screen.t_s + 0.8))
      .map((screen) => [body(screen.screener), body(screen.towards)])
      .map((pair) => pair.map((one) => one && placeAt(one, t, this.play.bridge_s)))
      .filter(([screener, towards]) => screener && towards)
      .map(([screener, towards]) => bar(screener, towards));
  }

  drawCourt() {
    const { play, t } = this;
    const [paper, width, height] = fitted(this.court);
    const style = getComputedStyle(this.root);
    const colour = (name) => style.getPropertyValue(`--${name}`).trim();
    paper.fillStyle = colour("floor");
    paper.fillRect(0, 0, width, height);
    const counted = this.root.querySelector(".paint-count");
    counted.textContent = "";
    if (!play.floor || !width) return;
    const scale = Math.min(width / (2 * HALF_WIDTH_FT), height / (DEPTH_FT + 2));
    const turnedTo = fromAbove(play.floor);
    const at = (x, y) => { const [v, u] = turnedTo(x, y); return [width / 2 + v * scale, (u + 1) * scale]; };
    fill(paper, play.floor.paint.map(([x, y]) => at(x, y)), colour("floor-paint"), 1);
    for (const line of play.floor.lines) {
      const points = line.closed ? [...line.points, line.points[0]] : line.points;
      stroke(paper, points.map(([x, y]) => at(x, y)), colour("floor-line"), 1, 1, false);
    }
    stroke(paper, circle(...at(...play.floor.ring), 0.75 * scale), colour("ink"), 1.6, 1, false);
    const size = Math.max(4.5, 1.25 * scale);
    for (const body of play.bodies) {
      if (body.badge !== null) this.trail(paper, body, at, t);
    }
    for (const [from, to] of this.bars(t)) stroke(paper, [at(...from), at(...to)], colour("ink"), 3.5, 1, false);
    const marks = [];
    for (const taking of [false, true])
      for (const body of play.bodies) {
        const place = placeAt(body, t, play.bridge_s);
        if (!place || (body.badge !== null) !== taking) continue;
        const [x, y] = at(...place);
        if (body.side !== "official") marks.push([x, y]);
        const tint = body.main ? play.colours.handler : play.colours[body.side];
        const radius = body.side === "official" ? size * 0.55 : taking ? size * 1.25 : size;
        const shape = mark(body.side, x, y, radius);
        fill(paper, shape, tint, body.side === "official" ? 0.5 : 1);
        stroke(paper, [...shape, shape[0]], "#1c2328", taking ? 1.6 : 1, body.side === "official" ? 0.5 : 1, false);
        if (body.main) stroke(paper, circle(x, y, radius + 3), colour("ink"), 1.5, 1, false);
        if (taking) label(paper, x, y, body.badge, radius * 1.25);
      }
    const ball = placeAt(play.ball, t, play.bridge_s);
    if (ball) {
      let [x, y] = at(...ball);
      const near = marks.find(([mx, my]) => Math.hypot(mx - x, my - y) < size);
      if (near) { x = near[0] + size * 1.15; y = near[1] - size * 0.8; } // in his hands: beside his mark, not over his number
      fill(paper, circle(x, y, Math.max(2.5, 0.55 * scale)), colour("ink"), 1);
      stroke(paper, circle(x, y, Math.max(2.5, 0.55 * scale)), colour("floor"), 1, 1, false);
    }
    const found = around(play.paint.t_s, t, play.bridge_s);
    if (found) counted.textContent = `In the paint, besides the handler: ${play.paint.others[found[0]]}`;
  }

  trail(paper, body, at, t) {
    const points = [];
    for (let back = TRAIL_S; back >= 0; back -= 0.06) {
      const place = placeAt(body, t - back, this.play.bridge_s);
      points.push(place && at(...place));
    }
    stroke(paper, points, body.main ? this.play.colours.handler : this.play.colours[body.side], 2.5, 0.8, false);
  }

  drawStretch() {
    const [paper, width, height] = fitted(this.stretch);
    const style = getComputedStyle(this.root);
    const { play } = this;
    const x = (t) => (width * (t - this.first)) / (this.last - this.first);
    paper.clearRect(0, 0, width, height);
    paper.fillStyle = style.getPropertyValue("--sunk");
    paper.fillRect(0, height / 2 - 4, width, 8);
    paper.fillStyle = style.getPropertyValue("--accent");
    paper.fillRect(x(play.from_s), height / 2 - 4, Math.max(2, x(play.to_s) - x(play.from_s)), 8);
    paper.fillStyle = style.getPropertyValue("--ink");
    paper.fillRect(x(play.t_s) - 1, 1, 2, height - 2);
  }
}

/** Where a tag's film begins when it is shown. */
export function begin(play) { return Math.max(play.start_s, play.from_s - LEAD_S); }

export function clockOf(t) {
  const minutes = Math.floor(t / 60);
  return `${minutes}:${(t - 60 * minutes).toFixed(2).padStart(5, "0")}`;
}
