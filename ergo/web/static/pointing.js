// Points in the picture, asked for one by one: by mouse, or by a cross that the arrow keys move.
import { say } from "./words.js";

const SVG = "http://www.w3.org/2000/svg";
const $ = (id) => document.getElementById(id);
const STEPS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };

export class Pointing {
  constructor(sourceOf) {
    Object.assign(this, { sourceOf });
    this.wish = null;
    $("stage").addEventListener("click", (event) => { if (this.wish) this.place(this.placeOf(event)); });
    document.addEventListener("keydown", (event) => this.pressed(event), true);
  }

  // `then` is told all points, in px of the picture as recorded; `each` sees them as they come.
  ask({ what, total, then, each = (points) => points, ended = () => {} }) {
    this.end();
    const { width, height } = this.sourceOf();
    this.wish = { what, total, then, each, ended, points: [], cross: [width / 2, height / 2] };
    document.body.classList.add("choosing");
    $("stage").scrollIntoView({ block: "nearest" });
    this.show();
  }

  end() {
    if (!this.wish) return;
    const { ended } = this.wish;
    this.wish = null;
    document.body.classList.remove("choosing");
    $("point-how").textContent = "";
    this.draw();
    ended();
  }

  show() {
    const { what, total, points } = this.wish;
    $("point-how").textContent = say("page.point", { what, n: points.length + 1, total });
    this.draw();
  }

  place(at) {
    const wish = this.wish;
    wish.points = wish.each([...wish.points, at]);
    if (wish.points.length < wish.total) return this.show();
    this.end();
    wish.then(wish.points);
  }

  pressed(event) {
    if (!this.wish || event.target.closest("input, select, textarea") || event.ctrlKey || event.metaKey) return;
    if (event.key === "Escape") this.end();
    else if (event.key === "Enter") this.place(this.wish.cross.map(rounded));
    else if (event.key in STEPS) this.move(STEPS[event.key], event.shiftKey ? 10 : 1);
    else return;
    event.preventDefault();
    event.stopPropagation();
  }

  move([x, y], times) {
    const { width, height } = this.sourceOf();
    const step = times * Math.hypot(width, height) / 400;
    const { cross } = this.wish;
    this.wish.cross = [clamped(cross[0] + x * step, width), clamped(cross[1] + y * step, height)];
    $("cross-at").textContent = say("page.moved_cross", { x: Math.round(this.wish.cross[0]), y: Math.round(this.wish.cross[1]) });
    this.draw();
  }

  // The place of a click, in px of the picture as recorded.
  placeOf(event) {
    const box = $("overlay").getBoundingClientRect();
    const { width, height } = this.sourceOf();
    const scale = Math.min(box.width / width, box.height / height);
    const left = box.left + (box.width - scale * width) / 2;
    const top = box.top + (box.height - scale * height) / 2;
    return [clamped((event.clientX - left) / scale, width), clamped((event.clientY - top) / scale, height)];
  }

  draw() {
    $("overlay").querySelectorAll(".pointed").forEach((each) => each.remove());
    if (!this.wish) return;
    const { width, height } = this.sourceOf();
    const size = Math.hypot(width, height);
    for (const at of this.wish.points) $("overlay").append(...crossed(at, size / 60, "pointed"));
    $("overlay").append(...crossed(this.wish.cross, size / 35, "pointed moving-cross"));
  }
}

// A cross that is seen on light and on dark.
export function crossed([x, y], arm, kind) {
  return ["cross-rim", "cross-line"].map((name) => {
    const path = document.createElementNS(SVG, "path");
    path.setAttribute("class", `cross ${name} ${kind}`);
    path.setAttribute("d", `M${x - arm} ${y}H${x + arm}M${x} ${y - arm}V${y + arm}`);
    path.setAttribute("stroke-width", arm / (name === "cross-rim" ? 4 : 9));
    return path;
  });
}

const rounded = (value) => Math.round(value * 100) / 100;
const clamped = (value, most) => rounded(Math.min(Math.max(0, value), most));
