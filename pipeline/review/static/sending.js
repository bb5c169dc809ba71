// Sends a change to the server and tells what went wrong in the server's own words.
const token = document.querySelector('meta[name="csrf-token"]').content;

export class Refused extends Error {
  constructor(status, answer) {
    super(answer.error ?? `The server answered ${status}; load the page again.`);
    this.status = status;
    this.answer = answer;
  }
}

async function answerOf(response) {
  const answer = await response.json().catch(() => ({}));
  if (!response.ok) throw new Refused(response.status, answer);
  return answer;
}

export async function send(path, what = {}, extra = {}) {
  const headers = { "Content-Type": "application/json", Accept: "application/json", "X-CSRF-Token": token };
  return answerOf(await fetch(path, { method: "POST", headers, body: JSON.stringify(what), ...extra }));
}

export async function ask(path) {
  return answerOf(await fetch(path, { headers: { Accept: "application/json" } }));
}

// Watches a job of the server until it ends; shows it in a box with a <progress> and a <span>.
export async function watch(job, box) {
  const bar = box.querySelector("progress");
  const words = box.querySelector("span");
  box.hidden = false;
  for (;;) {
    bar.value = job.share;
    words.textContent = job.doing;
    bar.hidden = !job.going;
    if (!job.going) return job;
    await new Promise((done) => setTimeout(done, 700));
    job = await ask(`/jobs/${job.job}.json`);
  }
}
