// What the reader states: sent as notes, undone by the server, listed with time.
import { askJson, element, tell } from "./ask.js";
import { say } from "./words.js";

const $ = (id) => document.getElementById(id);
const SUPPORTS = ["trunk", "arm_left", "arm_right", "feet"];
const MODES = { operator: "page.operator_how", setup: "page.setup_how", move: "page.move_how" };

export class Corrections {
  constructor(id, view, reload) {
    Object.assign(this, { id, view, reload });
    this.mode = null;
    $("handed").addEventListener("change", () => this.send({ key: "handed", set: $("handed").value || null, source: this.source }));
    $("neutral").addEventListener("click", () => this.send({ key: "neutral", set: { time_s: this.time }, source: this.source }));
    for (const mode of Object.keys(MODES)) $(mode).addEventListener("click", () => this.choose(mode));
    $("what").addEventListener("change", () => this.showFields());
    $("span-form").addEventListener("submit", (event) => { event.preventDefault(); this.sendSpan(); });
    $("undo").addEventListener("click", () => this.undo());
    $("stage").addEventListener("click", (event) => this.pointed(event));
    this.listenToMoves();
    this.showFields();
  }

  get source() { const { session, player } = this.view(); return session.arrays.source[player.frame]; }
  get time() { const { session, player } = this.view(); return rounded(session.arrays.time_s[player.frame]); }
  get notes() { return this.view().session.facts.notes[this.source]; }

  show(session) {
    this.session = session;
    this.followed();
    this.list();
  }

  followed() { if (this.session) $("handed").value = this.notes.handed ?? ""; }

  async list() { this.drawHistory(await askJson(`/api/sessions/${this.id}/corrections`)); }

  drawHistory(steps) {
    const standing = steps.filter((step) => !step.is_undone);
    $("undo").disabled = !standing.length;
    $("history").replaceChildren(...[...steps].reverse().map((step) => element("li", {},
      element("time", { datetime: step.at }, new Date(step.at).toLocaleString(document.documentElement.lang)), " ",
      element(step.is_undone ? "s" : "span", {}, step.text), step.is_undone ? ` (${say("page.undone")})` : "")));
  }

  async send(correction) {
    await askJson(`/api/sessions/${this.id}/corrections`, correction);
    await this.reload();
    tell(say("page.kept"));
  }

  async undo() {
    if ($("undo").disabled) return tell(say("page.no_history"));
    await askJson(`/api/sessions/${this.id}/undo`, {});
    await this.reload();
    tell(say("page.undone"));
  }

  showSpan(first, last) {
    const { time_s } = this.session.arrays;
    const isOneSource = this.session.arrays.source[first] === this.session.arrays.source[last];
    const [from, to] = isOneSource ? [time_s[first], time_s[last]] : [time_s[last], time_s[last]];
    $("from").value = rounded(from);
    $("to").value = rounded(to + 0.1);
    $("marked").textContent = say("page.marked", { start: `${$("from").value} s`, end: `${$("to").value} s` });
  }

  showFields() {
    const what = $("what").value;
    $("hours-label").hidden = what !== "clock";
    $("text-label").hidden = !["task", "mouth_area", "excluded"].includes(what);
    $("yes-label").hidden = !SUPPORTS.includes(what);
  }

  sendSpan() {
    const from_s = numberIn("from"), to_s = numberIn("to");
    const isAll = $("from").value.trim() === "" && $("to").value.trim() === "";
    if (!isAll && !(from_s >= 0 && to_s > from_s)) return tell(say("page.wrong_span"), true);
    const span = isAll ? {} : { from_s, to_s };
    const what = $("what").value;
    const text = $("text").value.trim();
    const stated = {
      clock: ["clock", { hours: Number($("hours").value) }],
      task: ["tasks", { task: text }], mouth_area: ["tasks", { mouth_area: text }],
      excluded: ["excluded", text ? { reason: text } : {}],
    }[what] ?? ["support", { [what]: $("yes").value === "true" }];
    return this.send({ key: stated[0], add: { ...span, ...stated[1] }, source: this.source });
  }

  choose(mode) {
    this.mode = this.mode === mode ? null : mode;
    for (const name of Object.keys(MODES)) $(name).setAttribute("aria-pressed", name === this.mode);
    document.body.classList.toggle("choosing", Boolean(this.mode) && this.mode !== "move");
    document.body.classList.toggle("moving", this.mode === "move");
    if (!this.mode) return;
    $("stage").scrollIntoView({ block: "nearest" });
    tell(say(MODES[this.mode]));
  }

  // The place in the picture, in px of the picture as recorded.
  placeOf(event) {
    const box = $("overlay").getBoundingClientRect();
    const source = this.session.facts.sources[this.source];
    const scale = Math.min(box.width / source.width, box.height / source.height);
    const left = box.left + (box.width - scale * source.width) / 2;
    const top = box.top + (box.height - scale * source.height) / 2;
    return [rounded((event.clientX - left) / scale), rounded((event.clientY - top) / scale)];
  }

  async pointed(event) {
    if (!this.mode || this.mode === "move") return;
    const mode = this.mode, at = this.placeOf(event);
    this.choose(mode);
    if (mode === "operator") {
      await this.send({ key: "operator", set: { at, time_s: this.time }, source: this.source });
      tell(say("page.operator_done"));
      await askJson(`/api/sessions/${this.id}/again`, {});
    } else {
      const setup = { ...this.notes.setup, time_s: this.time, [$("setup-what").value]: at };
      await this.send({ key: "setup", set: setup, source: this.source });
    }
  }

  listenToMoves() {
    let joint = null;
    const overlay = $("overlay");
    overlay.addEventListener("pointerdown", (event) => {
      if (this.mode !== "move" || !event.target.dataset.landmark) return;
      joint = event.target;
      overlay.setPointerCapture(event.pointerId);
    });
    overlay.addEventListener("pointermove", (event) => {
      if (!joint) return;
      const [x, y] = this.placeOf(event);
      joint.setAttribute("cx", x);
      joint.setAttribute("cy", y);
    });
    overlay.addEventListener("pointerup", (event) => {
      if (!joint) return;
      const moved = { name: joint.dataset.landmark, time_s: this.time, at: this.placeOf(event) };
      joint = null;
      this.send({ key: "landmarks", add: moved, source: this.source });
    });
  }
}

const rounded = (value) => Math.round(value * 100) / 100;
const numberIn = (id) => Number($(id).value.trim().replace(",", "."));
