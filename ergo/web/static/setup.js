// The camera place: what is marked in the picture and measured at the chair, and what follows from it.
import { askJson, element, tell } from "./ask.js";
import { crossed } from "./pointing.js";
import { say } from "./words.js";

const $ = (id) => document.getElementById(id);
const POINTS = { head: 1, head_end: 1, foot_end: 1, sides: 2, vertical: 2, floor: 4, tape: 2 };
const LISTS = { vertical: "ends", floor: "corners", tape: "ends" };
const LENGTHS = { floor: ["first_side", "second_side"], tape: ["length"] };
const SIZES = { chair_length: "chair_length_m", chair_width: "chair_width_m", chair_height: "chair_height_m" };
const SVG = "http://www.w3.org/2000/svg";

export class SetUp {
  constructor(id, corrections, pointing) {
    Object.assign(this, { id, corrections, pointing });
    $("setup-what").addEventListener("change", () => this.showFields());
    $("setup").addEventListener("click", () => this.mark());
    $("sizes-form").addEventListener("submit", (event) => { event.preventDefault(); this.sendSizes(); });
    $("setup-part").addEventListener("toggle", () => { this.corrections.redraw(); this.show(); });
    this.showFields();
  }

  get setup() { return this.corrections.notes.setup ?? {}; }
  get camera() { return this.corrections.notes.camera ?? {}; }
  // Marks may be stated for another size of the picture; see camera/level.py.
  get scale() { return this.camera.width ? this.corrections.facts.width / this.camera.width : 1; }

  // Another recording or other notes are shown.
  async show() {
    if (!$("setup-part").open) return;
    for (const [field, key] of Object.entries(SIZES)) $(field).value = this.setup[key] ? inCm(this.setup[key]) : "";
    $("lens_height").value = this.camera.height_m ? inCm(this.camera.height_m) : "";
    this.listMarks();
    const source = this.corrections.source;
    const told = await askJson(`/api/sessions/${this.id}/setup/${source}`);
    if (source !== this.corrections.source) return;
    $("setup-summary").textContent = told.summary;
    for (const name of ["values", "missed", "next"]) {
      $(`setup-${name}`).replaceChildren(...told[name].map((text) => element("li", {}, text)));
    }
  }

  showFields() {
    const wanted = LENGTHS[$("setup-what").value] ?? [];
    for (const name of new Set(Object.values(LENGTHS).flat())) $(`${name}-label`).hidden = !wanted.includes(name);
  }

  mark() {
    const what = $("setup-what").value;
    const lengths = Object.fromEntries((LENGTHS[what] ?? []).map((name) => [`${name}_m`, inM(name)]));
    if (Object.values(lengths).some((value) => !(value > 0))) return tell(say("page.wrong_length"), { isTrouble: true });
    $("setup").setAttribute("aria-pressed", true);
    this.pointing.ask({
      what: say(`setup.how.${what}`), total: POINTS[what],
      then: (points) => this.sendMark(what, points.map((at) => at.map((value) => value / this.scale)), lengths),
      ended: () => $("setup").setAttribute("aria-pressed", false),
    });
  }

  sendMark(what, points, lengths) {
    const marked = what in LISTS
      ? [...(this.setup[what] ?? []), { [LISTS[what]]: points, ...lengths }]
      : POINTS[what] === 1 ? points[0] : points;
    const sizes = what === "sides" ? this.sizes() : {};
    return this.send({ ...this.setup, ...sizes, time_s: this.corrections.time, [what]: marked });
  }

  sizes() {
    const given = Object.entries(SIZES).map(([field, key]) => [key, inM(field)]);
    return Object.fromEntries(given.filter(([, value]) => value > 0));
  }

  async sendSizes() {
    const { chair_length_m, chair_width_m, chair_height_m, ...rest } = this.setup;
    const { height_m, ...camera } = this.camera;
    const lens = inM("lens_height");
    const wanted = lens > 0 ? { ...camera, height_m: lens } : camera;
    if (JSON.stringify(wanted) !== JSON.stringify(this.camera)) {
      await this.refusing(() => this.corrections.send({ key: "camera", set: orNone(wanted), source: this.corrections.source }));
    }
    const setup = { ...rest, ...this.sizes() };
    if (JSON.stringify(setup) !== JSON.stringify(this.setup)) await this.send(setup);
  }

  send(setup) {
    const { time_s, ...marks } = setup;
    const set = Object.keys(marks).length ? setup : null;
    return this.refusing(() => this.corrections.send({ key: "setup", set, source: this.corrections.source }));
  }

  async refusing(act) {
    try { await act(); } catch (error) { $("setup-summary").textContent = say("page.setup_refused", { why: error.message }); }
  }

  made() {
    return Object.keys(POINTS).filter((what) => this.setup[what]).flatMap((what) => {
      const marks = what in LISTS ? this.setup[what].map((each) => each[LISTS[what]]) : [POINTS[what] === 1 ? [this.setup[what]] : this.setup[what]];
      return marks.map((points, at) => ({ what, at, points: points.map((place) => place.map((value) => value * this.scale)),
        label: say(`setup.mark.${what}`) + (what in LISTS ? ` ${at + 1}` : "") }));
    });
  }

  listMarks() {
    const made = this.made();
    $("setup-marks").replaceChildren(...made.map((mark) => element("li", {}, mark.label, " ",
      element("button", { type: "button", "aria-label": say("page.setup_remove_one", { what: mark.label }), onclick: () => this.remove(mark) }, say("page.setup_remove")))));
    if (!made.length) $("setup-marks").append(element("li", { class: "quiet" }, say("page.setup_none_made")));
  }

  remove({ what, at }) {
    const { [what]: marked, ...rest } = this.setup;
    const left = what in LISTS ? marked.filter((_, place) => place !== at) : [];
    return this.send(left.length ? { ...rest, [what]: left } : rest);
  }

  // Marks lie over the picture while this part of the page is open.
  drawn(size) {
    if (!$("setup-part").open) return [];
    return this.made().flatMap(({ points, label }) => [
      ...(points.length > 1 ? [joined(points, size)] : []),
      ...points.flatMap((at) => crossed(at, size / 70, "mark")), named(points[0], label, size)]);
  }
}

function joined(points, size) {
  const line = document.createElementNS(SVG, points.length > 2 ? "polygon" : "polyline");
  line.setAttribute("class", "mark-line");
  line.setAttribute("points", points.map((at) => at.join(",")).join(" "));
  line.setAttribute("stroke-width", size / 600);
  return line;
}

function named([x, y], label, size) {
  const text = document.createElementNS(SVG, "text");
  text.setAttribute("class", "mark-name");
  text.setAttribute("x", x + size / 60);
  text.setAttribute("y", y - size / 90);
  text.setAttribute("font-size", size / 65);
  text.textContent = label;
  return text;
}

const inCm = (metres) => String(Math.round(1000 * metres) / 10);
const inM = (id) => Number($(id).value.trim().replace(",", ".")) / 100;
const orNone = (content) => (Object.keys(content).length ? content : null);
