// What a correction did: going on until the figures are those after it, then what has changed, for which recording.
import { element, tell } from "./ask.js";
import { lengthOf } from "./jobs.js";
import { number, say } from "./words.js";

const $ = (id) => document.getElementById(id);
const MOST = 5;
const ACTIVE = ["waiting", "running"];

// Amounts before and after as sentences, what changed most first. Both are lists as `figures.moving` has them.
export function changes(before, after, none) {
  const old = new Map(before.map((each) => [each.key, each]));
  const fresh = new Map(after.map((each) => [each.key, each]));
  const keys = [...new Set([...fresh.keys(), ...old.keys()])];
  return keys.map((key) => {
    const [one, other] = [old.get(key), fresh.get(key)];
    return {
      what: (other ?? one).what, before: one?.text ?? none, after: other?.text ?? none,
      size: Math.abs((other?.amount ?? 0) - (one?.amount ?? 0)),
    };
  }).filter((each) => each.before !== each.after).sort((one, other) => other.size - one.size)
    .map((each) => say("page.effect_line", each));
}

export class Effect {
  constructor() {
    this.figures = null;
    this.jobs = [];
    this.session = null;
  }

  // Figures have come; `before` are then those that were shown until now.
  show(figures) {
    [this.before, this.figures] = [this.figures ?? figures, figures];
  }

  begin(where) {
    const text = say("page.effect_going_on", { where });
    this.where = where;
    this.say(text);
    tell(text, { stays: true });
    $("figures").setAttribute("aria-busy", true);
  }

  // `head` says what was done; the figures shown are those after it.
  end(head) {
    $("figures").removeAttribute("aria-busy");
    const found = changes(this.before.moving, this.figures.moving, this.figures.none);
    const isOpen = this.isWatching;
    const shown = found.slice(0, MOST);
    if (found.length > MOST) shown.push(say("page.effect_more", { n: found.length - MOST }));
    const sum = isOpen ? "" : say(found.length ? "page.effect_some" : "page.effect_none");
    this.say(`${head} ${sum}`.trim(), isOpen ? [] : shown);
    tell([head, ...(isOpen ? [] : found.length ? shown.slice(0, 1) : [sum])].join(" "));
  }

  // What the server refused is not kept; without an answer nobody knows.
  refused(error) {
    const key = error.status ? "page.effect_refused" : "page.effect_unknown";
    this.stopped(say(key, { where: this.where, why: error.message }));
  }

  // It is kept, but the figures did not come.
  lost(error) { this.stopped(say("page.effect_unknown", { where: this.where, why: error.message })); }

  stopped(text) {
    $("figures").removeAttribute("aria-busy");
    this.say(text);
    tell(text, { isTrouble: true });
  }

  say(text, lines = []) {
    const list = element("ul", {}, ...lines.map((line) => element("li", {}, line)));
    $("effect").replaceChildren(element("p", {}, text), ...(lines.length ? [list] : []));
    $("effect").hidden = false;
  }

  // Recordings in which another person is stated than the one whose picture and figures are shown.
  get isWatching() { return Boolean(this.session?.facts.to_watch.length); }

  watch({ session = this.session, jobs = this.jobs }) {
    Object.assign(this, { session, jobs });
    const place = $("watching");
    place.hidden = !this.isWatching;
    if (place.hidden) return;
    const where = session.facts.to_watch.join(", ");
    const job = jobs.find((each) => ACTIVE.includes(each.state));
    const parts = [element("span", {}, say(job ? "page.watching" : "page.not_watched", { where }))];
    if (job?.state === "running" && job.left_s !== null) {
      const share = number(100 * job.share);
      parts.push(" ", element("span", { "aria-live": "off" }, say("page.watching_share", { share, time: lengthOf(job.left_s) })));
    }
    const text = parts.map((part) => part.textContent ?? part).join("");
    if (place.textContent !== text) place.replaceChildren(...parts);
  }
}
