// What the reader states: sent as notes, undone by the server, listed with time.
import { askJson, element, tell } from "./ask.js";
import { SetUp } from "./setup.js";
import { People } from "./people.js";
import { Pointing } from "./pointing.js";
import { secondsIn, timeText } from "./times.js";
import { number, say } from "./words.js";

const $ = (id) => document.getElementById(id);
const SUPPORTS = ["trunk", "arm_left", "arm_right", "feet"];
const LEAST_DRAG_PX = 3;

export class Corrections {
  constructor(id, view, reload, redraw, watched, effect) {
    Object.assign(this, { id, view, reload, redraw, watched, effect });
    this.pointing = new Pointing(() => this.facts);
    this.setUp = new SetUp(id, this, this.pointing);
    $("handed").addEventListener("change", () => this.send({ key: "handed", set: $("handed").value || null, source: this.own }));
    $("neutral").addEventListener("click", () => this.send({ key: "neutral", set: { time_s: this.ownTime }, source: this.own }));
    this.people = new People(id, () => this.place, redraw, (person, place) => this.sendOperator(person, place));
    $("move").addEventListener("click", () => this.moveLandmark());
    $("what").addEventListener("change", () => this.showFields());
    $("span-form").addEventListener("submit", (event) => { event.preventDefault(); this.sendSpan(); });
    $("undo").addEventListener("click", () => this.undo());
    this.listenToDrags();
    this.showFields();
  }

  // The recording whose picture is shown; clips beside the first are numbered after the session's own.
  get beside() { const { session, camera } = this.view(); return camera ? session.facts.beside[camera - 1] : null; }
  get source() { const { session, camera } = this.view(); return camera ? session.facts.sources.length - 1 + camera : this.own; }
  get facts() { return this.beside ?? this.view().session.facts.sources[this.own]; }
  get time() { return rounded(this.ownTime - (this.beside?.start_s ?? 0)); }
  get notes() { return this.beside?.notes ?? this.view().session.facts.notes[this.own]; }
  // The recording that the times are those of: all that is no camera's own is stated of it.
  get own() { const { session, player } = this.view(); return session.arrays.source[player.frame]; }
  get ownTime() { const { session, player } = this.view(); return rounded(session.arrays.time_s[player.frame]); }

  show(session) {
    this.session = session;
    this.shown = null;
    this.followed();
    this.list();
  }

  // Another frame is shown: of another recording, perhaps.
  followed() {
    if (!this.session) return;
    this.pointing.draw();
    this.people.moved();
    if (this.shown === this.source) return;
    this.shown = this.source;
    $("handed").value = this.view().session.facts.notes[this.own].handed ?? "";
    this.setUp.show();
  }

  async list() { this.drawHistory(await askJson(`/api/sessions/${this.id}/corrections`)); }

  drawHistory(steps) {
    const standing = steps.filter((step) => !step.is_undone);
    $("undo").disabled = !standing.length;
    $("history").replaceChildren(...[...steps].reverse().map((step) => element("li", {},
      element("time", { datetime: step.at }, new Date(step.at).toLocaleString(document.documentElement.lang)), " ",
      element(step.is_undone ? "s" : "span", {}, step.text), step.is_undone ? ` (${say("page.undone")})` : "")));
  }

  // The name of a recording by its number; clips beside the first come after the session's own.
  nameOf(source) {
    const { sources, beside } = this.session.facts;
    return [...sources, ...beside][source].name;
  }

  async send(correction) {
    const where = this.nameOf(correction.source);
    await this.changed(where, "corrections", correction);
    this.effect.end(say("page.effect_kept", { where }));
  }

  async undo() {
    if ($("undo").disabled) return tell(say("page.no_history"));
    const standing = (await askJson(`/api/sessions/${this.id}/corrections`)).findLast((step) => !step.is_undone);
    const what = standing?.text ?? "";
    await this.changed(what, "undo", {});
    this.watched();
    this.effect.end(say("page.effect_undone", { what }));
  }

  // Going on until the figures that are shown are those after the change.
  async changed(where, kind, content) {
    this.effect.begin(where);
    const [refused, lost] = ["refused", "lost"].map((end) => (error) => {
      this.effect[end](error);
      this.shown = null;
      this.followed();  // what is stated, not what was wished
      throw error;
    });
    await askJson(`/api/sessions/${this.id}/${kind}`, content).catch(refused);
    await this.reload().catch(lost);
  }

  showSpan(first, last) {
    const { time_s } = this.session.arrays;
    const isOneSource = this.session.arrays.source[first] === this.session.arrays.source[last];
    const [from, to] = isOneSource ? [time_s[first], time_s[last]] : [time_s[last], time_s[last]];
    $("from").value = timeText(from);
    $("to").value = timeText(to + 0.1);
    $("marked").textContent = say("page.marked", { start: $("from").value, end: $("to").value });
  }

  showFields() {
    const what = $("what").value;
    $("hours-label").hidden = what !== "clock";
    $("text-label").hidden = !["task", "mouth_area", "excluded"].includes(what);
    $("yes-label").hidden = !SUPPORTS.includes(what);
  }

  // What is missing or wrong in the form: its words and the field; null if it can be sent.
  trouble(what, { from_s, to_s, hours, text }) {
    if (!(from_s === null || from_s >= 0)) return ["page.wrong_span", "from"];
    if (!(to_s === null || to_s > (from_s ?? 0))) return ["page.wrong_span", "to"];
    if (what === "clock" && !(hours >= 1 && hours < 13)) return ["page.wrong_hours", "hours"];
    if (what === "task" && !text) return ["page.wrong_task", "text"];
    if (what === "mouth_area" && !text) return ["page.wrong_area", "text"];
    return null;
  }

  sendSpan() {
    const what = $("what").value;
    const given = { from_s: secondsIn($("from").value), to_s: secondsIn($("to").value), hours: numberIn("hours"), text: $("text").value.trim() };
    const trouble = this.trouble(what, given);
    if (trouble) {
      const [why, field] = trouble;
      $(field).focus();
      return tell(say(why, { example: number(10.5, 1), most: number(12.9, 1) }), { isTrouble: true });
    }
    const { from_s, to_s, hours, text } = given;
    const span = { ...(from_s === null ? {} : { from_s }), ...(to_s === null ? {} : { to_s }) };
    const stated = {
      clock: ["clock", { hours }],
      task: ["tasks", { task: text }], mouth_area: ["tasks", { mouth_area: text }],
      excluded: ["excluded", text ? { reason: text } : {}],
    }[what] ?? ["support", { [what]: $("yes").value === "true" }];
    return this.send({ key: stated[0], add: { ...span, ...stated[1] }, source: this.own });
  }

  // A button stays pressed while its points are asked for; pressed again, nothing is asked.
  asked(button, wish) {
    if ($(button).getAttribute("aria-pressed") === "true") return this.pointing.end();
    this.pointing.ask({ ...wish, ended: () => {
      $(button).setAttribute("aria-pressed", false);
      document.body.classList.remove("moving");
    } });
    $(button).setAttribute("aria-pressed", true);
  }

  // Where we are, for choosing somebody in the picture.
  get place() {
    const { player, camera } = this.view();
    return { frame: player.frame, camera, width: this.facts.width, time_s: this.time, source: this.source };
  }

  async sendOperator({ at, lies }, { time_s, source }) {
    await this.send({ key: "operator", set: { at, time_s }, source, confirmed: lies });
    this.watched();
  }

  // First a landmark, by the nearest place, then where it belongs.
  moveLandmark() {
    const nearest = (at) => {
      const joints = [...$("overlay").querySelectorAll("[data-landmark]")];
      const far = (joint) => Math.hypot(joint.getAttribute("cx") - at[0], joint.getAttribute("cy") - at[1]);
      return joints.reduce((best, joint) => (!best || far(joint) < far(best) ? joint : best), null);
    };
    let name = null;
    this.asked("move", { what: say("page.move_pick"), total: 2,
      each: (points) => {
        if (points.length > 1) return points;
        const joint = nearest(points[0]);
        name = joint?.dataset.landmark;
        return joint ? [[Number(joint.getAttribute("cx")), Number(joint.getAttribute("cy"))]] : [];
      },
      then: ([, at]) => this.sendLandmark(name, at) });
    document.body.classList.toggle("moving", Boolean(this.pointing.wish));
  }

  sendLandmark(name, at) {
    return this.send({ key: "landmarks", add: { name, time_s: this.time, at }, source: this.source });
  }

  listenToDrags() {
    let joint = null, from = null, isDrag = false;
    const overlay = $("overlay");
    overlay.addEventListener("pointerdown", (event) => {
      if (!document.body.classList.contains("moving") || !event.target.dataset.landmark) return;
      [joint, from, isDrag] = [event.target, [event.clientX, event.clientY], false];
      overlay.setPointerCapture(event.pointerId);
    });
    overlay.addEventListener("pointermove", (event) => {
      if (!joint) return;
      isDrag ||= Math.hypot(event.clientX - from[0], event.clientY - from[1]) > LEAST_DRAG_PX;
      const [x, y] = this.pointing.placeOf(event);
      joint.setAttribute("cx", x);
      joint.setAttribute("cy", y);
    });
    overlay.addEventListener("pointerup", (event) => {
      if (joint && isDrag) {
        this.pointing.end();
        this.sendLandmark(joint.dataset.landmark, this.pointing.placeOf(event));
      }
      joint = null;
    });
  }
}

const rounded = (value) => Math.round(value * 100) / 100;
const numberIn = (id) => Number($(id).value.trim().replace(",", "."));
