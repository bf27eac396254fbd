// The queue of analyses: asked for once a second while something is going on.
import { ask, askJson, element } from "./ask.js";
import { number, say } from "./words.js";

const ACTIVE = ["waiting", "running"];

export class Jobs {
  constructor(place, onDone, isOurs = () => true, isShown = () => true) {
    Object.assign(this, { place, onDone, isOurs, isShown });
    this.finished = null;
    this.refresh();
  }

  async refresh() {
    clearTimeout(this.timer);
    const jobs = (await askJson("/api/jobs")).filter(this.isOurs);
    this.place.replaceChildren(...jobs.filter(this.isShown).map((job) => this.row(job)));
    const finished = jobs.filter((job) => job.state === "done").length;
    if (this.finished !== null && finished > this.finished) this.onDone();
    this.finished = finished;
    if (jobs.some((job) => ACTIVE.includes(job.state))) this.timer = setTimeout(() => this.refresh(), 1000);
  }

  row(job) {
    const parts = [element("span", {}, say("page.job", { name: job.name, state: job.error ?? say(`page.${job.state}`) }))];
    if (job.state === "running") {
      parts.push(element("progress", { max: 1, value: job.share, "aria-label": job.name }), element("span", {}, `${number(100 * job.share)} %`));
      if (job.left_s !== null) parts.push(element("span", { class: "quiet" }, say("page.time_left", { time: lengthOf(job.left_s) })));
    }
    if (job.session) parts.push(element("a", { href: `/sessions/${job.session}` }, say("page.look_at")));
    const isActive = ACTIVE.includes(job.state);
    parts.push(element("button", { type: "button", onclick: () => this.act(job, isActive) }, say(isActive ? "page.cancel" : "page.remove")));
    return element("li", { "data-state": job.state }, ...parts);
  }

  async act(job, isActive) {
    await ask(`/api/jobs/${job.id}${isActive ? "/cancel" : ""}`, { method: isActive ? "POST" : "DELETE" });
    this.refresh();
  }
}

function lengthOf(seconds) {
  return seconds < 90 ? say("number.seconds", { s: Math.round(seconds) }) : say("number.whole_minutes", { min: Math.round(seconds / 60) });
}
