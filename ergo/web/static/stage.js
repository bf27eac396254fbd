// The picture with landmarks and angles, and the dial seen from above.
import { number, say } from "./words.js";

const SVG = "http://www.w3.org/2000/svg";
const SD_OF_90 = 1.645;

export class Stage {
  constructor(picture, overlay, dial, clockSaid, missing) {
    Object.assign(this, { picture, overlay, dial, clockSaid, missing });
    this.wanted = null;
    this.isBusy = false;
    this.camera = 0;
    this.extra = () => [];
    drawDial(dial);
  }

  show(session) {
    this.session = session;
    this.names = Object.fromEntries(session.facts.landmarks.map((name, at) => [name, at]));
    this.columns = Object.fromEntries(session.facts.angles.map((angle, at) => [angle.name, at]));
  }

  // Of the source whose picture is shown: 0 is the camera that the times are those of.
  get source() {
    const { facts, arrays } = this.session;
    return this.camera ? facts.beside[this.camera - 1] : facts.sources[arrays.source[this.frame]];
  }

  go(frame, { landmarks, angles, camera }) {
    Object.assign(this, { frame, camera, landmarks, angles });
    this._fetch(frame);
    this.redraw();
    this._dial(frame);
  }

  // What lies over the picture anew; the picture stays.
  redraw() { this._draw(this.frame, this.landmarks, this.angles); }

  // One picture is asked for at a time; while it comes, only the latest wish is kept.
  async _fetch(frame) {
    this.wanted = frame;
    if (this.isBusy) return;
    this.isBusy = true;
    while (this.wanted !== null) {
      const now = this.wanted;
      this.wanted = null;
      await this._load(now);
    }
    this.isBusy = false;
  }

  async _load(frame) {
    const width = Math.ceil(this.picture.parentElement.clientWidth * (devicePixelRatio || 1));
    const address = `/api/sessions/${this.session.facts.id}/pictures/${frame}?width=${Math.min(width || 640, 1280)}&camera=${this.camera + 1}`;
    const missing = say(this.camera ? "page.not_filmed" : "page.no_picture");
    try {
      const answer = await fetch(address);
      if (!answer.ok) throw new Error(answer.status);
      const url = URL.createObjectURL(await answer.blob());
      const before = this.picture.src;
      this.picture.src = url;
      await this.picture.decode();
      if (before.startsWith("blob:")) URL.revokeObjectURL(before);
      this.missing.hidden = true;
    } catch {
      this.picture.removeAttribute("src");
      this.missing.textContent = missing;
      this.missing.hidden = false;
    }
    this.picture.dataset.frame = frame;
  }

  point(frame, name) {
    const count = this.session.facts.landmarks.length, { arrays, frames } = this.session;
    const points = this.camera ? arrays.points_beside : arrays.points;
    const row = this.camera ? (this.camera - 1) * frames + frame : frame;
    const at = 2 * (row * count + this.names[name]);
    return [points[at], points[at + 1]];
  }

  angle(frame, name) {
    const at = this.columns[name] * this.session.frames + frame;
    return [this.session.arrays.value[at], SD_OF_90 * this.session.arrays.sd[at]];
  }

  _draw(frame, landmarks, angles) {
    const { source } = this;
    this.size = Math.hypot(source.width, source.height);
    this.overlay.setAttribute("viewBox", `0 0 ${source.width} ${source.height}`);
    this.picture.parentElement.style.aspectRatio = `${source.width} / ${source.height}`;
    const parts = [];
    const isSeen = Number.isFinite(this.point(frame, "nose")[0]);
    if (landmarks && isSeen) this._body(frame, parts);
    if (angles && isSeen) this._arcs(frame, parts);
    this.overlay.replaceChildren(...parts, ...this.extra(this.size));
  }

  _body(frame, parts) {
    const names = this.session.facts.landmarks;
    const ends = this.session.facts.bones.map((bone) => bone.map((at) => this.point(frame, names[at])));
    for (const kind of ["rim", "bone"]) {
      for (const [[x1, y1], [x2, y2]] of ends) {
        parts.push(made("line", { class: kind, x1, y1, x2, y2, "stroke-width": this.size / (kind === "rim" ? 190 : 380) }));
      }
    }
    for (const at of new Set(this.session.facts.bones.flat())) {
      const [cx, cy] = this.point(frame, names[at]);
      parts.push(made("circle", { class: "joint", cx, cy, r: this.size / 220, "data-landmark": names[at], "stroke-width": this.size / 700 }));
    }
  }

  _arcs(frame, parts) {
    const at = (name) => this.point(frame, name);
    const middle = (name) => mean(at(`${name}_left`), at(`${name}_right`));
    const [hip, neck, head] = [middle("hip"), middle("shoulder"), middle("ear")];
    this._arc(parts, hip, [0, -1], minus(neck, hip), this.angle(frame, "trunk_flexion_deg"));
    this._arc(parts, neck, minus(neck, hip), minus(head, neck), this.angle(frame, "neck_flexion_deg"));
    for (const side of ["left", "right"]) {
      const [shoulder, elbow, wrist] = ["shoulder", "elbow", "wrist"].map((name) => at(`${name}_${side}`));
      const away = elbow[0] < (neck[0] + hip[0]) / 2 ? -1 : 1;
      this._arc(parts, shoulder, [0, 1], minus(elbow, shoulder), this.angle(frame, `upper_arm_elevation_deg_${side}`), away);
      this._arc(parts, elbow, minus(elbow, shoulder), minus(wrist, elbow), this.angle(frame, `elbow_flexion_deg_${side}`), away);
    }
  }

  // An arc from one direction to another; its figure stands to one side (-1 left, 1 right).
  _arc(parts, corner, from, to, [value, spread], away = 0) {
    if (!Number.isFinite(value)) return;
    const radius = this.size / 24;
    const begin = Math.atan2(from[1], from[0]), end = Math.atan2(to[1], to[0]);
    let turn = end - begin;
    if (turn > Math.PI) turn -= 2 * Math.PI;
    if (turn < -Math.PI) turn += 2 * Math.PI;
    const place = (angle, r = radius) => [corner[0] + r * Math.cos(angle), corner[1] + r * Math.sin(angle)];
    const [a, b] = [place(begin), place(end)];
    const d = `M${a} A${radius} ${radius} 0 0 ${turn > 0 ? 1 : 0} ${b}`;
    parts.push(made("path", { class: "arc-rim", d, "stroke-width": this.size / 200 }));
    parts.push(made("path", { class: "arc", d, "stroke-width": this.size / 420 }));
    const [x, y] = place(begin + turn / 2, radius * 1.8);
    this._label(parts, away ? [corner[0] + away * radius * 2.6, corner[1]] : [x, y], `${number(value)}° ± ${number(spread)}°`);
  }

  _label(parts, [x, y], text) {
    const high = this.size / 58, wide = high * 0.56 * text.length + high * 0.6;
    parts.push(made("rect", { class: "pill", x: x - wide / 2, y: y - high * 0.75, width: wide, height: high * 1.4, rx: high * 0.3 }));
    const label = made("text", { class: "value", x, y: y + high * 0.28, "font-size": high });
    label.textContent = text;
    parts.push(label);
  }

  _dial(frame) {
    const hour = this.session.arrays.clock[frame];
    const dot = this.dial.querySelector(".operator");
    const isKnown = Number.isFinite(hour);
    dot.toggleAttribute("hidden", !isKnown);
    dot.style.display = isKnown ? "" : "none";
    if (isKnown) {
      const angle = (hour % 12) * Math.PI / 6;
      dot.setAttribute("transform", `translate(${78 * Math.sin(angle)} ${-78 * Math.cos(angle)})`);
    }
    const spread = SD_OF_90 * this.session.arrays.clock_sd[frame];
    const text = !isKnown ? say("page.clock_unknown") : spread > 0
      ? say("page.at_clock_measured", { h: number(hour, 1), spread: number(spread, 1) }) : say("page.at_clock", { h: number(hour, 1) });
    this.clockSaid.textContent = isKnown ? text : "";
    this.dial.setAttribute("aria-label", text);
    this.dial.querySelector(".said").textContent = isKnown ? "" : say("page.clock_unknown");
  }
}

function drawDial(dial) {
  dial.append(made("circle", { class: "rim-line", r: 100 }), made("ellipse", { class: "patient", rx: 17, ry: 20 }),
    made("path", { class: "patient", d: "M-22 24 Q0 14 22 24 L18 84 Q0 92 -18 84Z" }));
  for (let hour = 1; hour <= 12; hour++) {
    const angle = hour * Math.PI / 6;
    const label = made("text", { class: "hour", x: 108 * Math.sin(angle), y: 4 - 108 * Math.cos(angle) });
    label.textContent = hour;
    dial.append(made("circle", { class: "tick", cx: 96 * Math.sin(angle), cy: -96 * Math.cos(angle), r: 1.5 }), label);
  }
  const said = made("text", { class: "said", y: 62 });
  dial.append(made("circle", { class: "operator", r: 11 }), said);
}

function made(tag, attributes) {
  const part = document.createElementNS(SVG, tag);
  for (const [name, value] of Object.entries(attributes)) part.setAttribute(name, value);
  return part;
}

const mean = (a, b) => [(a[0] + b[0]) / 2, (a[1] + b[1]) / 2];
const minus = (a, b) => [a[0] - b[0], a[1] - b[1]];
