// The queue of analyses: asked for once a second while something is going on.
import { ask, askJson, element } from "./ask.js";
import { startsForm } from "./starts.js";
import { number, say } from "./words.js";

const ACTIVE = ["waiting", "running"];

export class Jobs {
  constructor(place, onDone, isOurs = () => true, isShown = () => true, onJobs = () => {}) {
    Object.assign(this, { place, onDone, isOurs, isShown, onJobs });
    this.finished = null;
    this.rows = new Map();
    this.refresh();
  }

  async refresh() {
    clearTimeout(this.timer);
    const jobs = (await askJson("/api/jobs")).filter(this.isOurs);
    this.draw(jobs.filter(this.isShown));
    this.onJobs(jobs);
    const finished = jobs.filter((job) => job.state === "done").length;
    if (this.finished !== null && finished > this.finished) this.onDone();
    this.finished = finished;
    if (jobs.some((job) => ACTIVE.includes(job.state))) this.timer = setTimeout(() => this.refresh(), 1000);
  }

  // A row that is as it was is left alone: somebody may be writing in it.
  draw(jobs) {
    const rows = new Map(jobs.map((job) => [job.id, this.kept(job) ?? { job: JSON.stringify(job), row: this.row(job) }]));
    for (const [id, { row }] of this.rows) {
      const fresh = rows.get(id)?.row;
      if (fresh === row) continue;
      const isFocused = row.contains(document.activeElement);
      if (fresh) row.replaceWith(fresh); else row.remove();
      if (isFocused) fresh?.querySelector("input, button")?.focus();
    }
    for (const { row } of rows.values()) if (!row.isConnected) this.place.append(row);
    this.rows = rows;
  }

  kept(job) {
    const before = this.rows.get(job.id);
    return before?.job === JSON.stringify(job) ? before : null;
  }

  row(job) {
    const name = job.clips.length ? say("page.job_together", { name: job.name, n: job.clips.length }) : job.name;
    const parts = [element("span", {}, say("page.job", { name, state: job.error ?? say(`page.${job.state}`) }))];
    if (job.state === "running") {
      parts.push(element("progress", { max: 1, value: job.share, "aria-label": job.name }), element("span", {}, `${number(100 * job.share)} %`));
      if (job.left_s !== null) parts.push(element("span", { class: "quiet" }, say("page.time_left", { time: lengthOf(job.left_s) })));
    }
    if (job.session) parts.push(element("a", { href: `/sessions/${job.session}` }, say("page.look_at")));
    if (job.lacks_start) parts.push(startsForm(job, () => this.refresh()));
    if (job.can_be_repeated) parts.push(element("button", { type: "button", "aria-label": `${say("page.try_again")}: ${job.name}`, onclick: () => this.post(job, "again") }, say("page.try_again")));
    const isActive = ACTIVE.includes(job.state);
    parts.push(element("button", { type: "button", "aria-label": `${say(isActive ? "page.cancel" : "page.remove")}: ${job.name}`, onclick: () => this.act(job, isActive) }, say(isActive ? "page.cancel" : "page.remove")));
    return element("li", { "data-state": job.state }, ...parts);
  }

  async post(job, what) {
    await ask(`/api/jobs/${job.id}/${what}`, { method: "POST" });
    this.refresh();
  }

  async act(job, isActive) {
    await ask(`/api/jobs/${job.id}${isActive ? "/cancel" : ""}`, { method: isActive ? "POST" : "DELETE" });
    this.refresh();
  }
}

export function lengthOf(seconds) {
  return seconds < 90 ? say("number.seconds", { s: Math.round(seconds) }) : say("number.whole_minutes", { min: Math.round(seconds / 60) });
}
