// The lanes: drawn once on one canvas, the place of the picture on another above it.
import { say } from "./words.js";

const LABEL = 15, BAR = 15, GAP = 5, TEXT_BAR = 16, AXIS = 22, PAD = 6, INSET = 9;
const UNJUDGED = 255;
const FULL = [0.28, 0.62, 1];  // the height of a bar says the strain, besides its colour

export class Timeline {
  constructor(place, lanes, head, onPlace, onSpan) {
    Object.assign(this, { place, lanes, head, onPlace, onSpan });
    this.zoom = 1;
    this.start = 0;
    this.frame = 0;
    this.span = null;
    this.spans = [];
    this.isMarking = false;
    this._listen();
    new ResizeObserver(() => this.draw()).observe(place);
    addEventListener("scheme", () => this.draw());
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => this.draw());
  }

  show(session) {
    this.session = session;
    const { line_s } = session.arrays;
    const last = session.frames - 1;
    this.total = Math.max(1, line_s[last] + (last ? line_s[last] - line_s[last - 1] : 1));
    this.draw();
  }

  get height() {
    const rows = this.session.facts.lanes.length;
    return 3 * (LABEL + TEXT_BAR + GAP) + rows * (LABEL + BAR + 4 + GAP) + AXIS;
  }

  get width() { return this.place.clientWidth - 2 * PAD; }
  get shown() { return this.total / this.zoom; }
  x(seconds) { return PAD + (seconds - this.start) / this.shown * this.width; }
  seconds(x) { return this.start + (x - PAD) / this.width * this.shown; }

  // Up to where a frame is drawn: the next one, or the jump in time before it.
  endOf(frame) {
    const { line_s, gap_after } = this.session.arrays;
    return frame + 1 < line_s.length ? line_s[frame + 1] - gap_after[frame] : this.total;
  }

  frameAt(seconds) {
    const times = this.session.arrays.line_s;
    let low = 0, high = this.session.frames - 1;
    while (low < high) {
      const middle = (low + high + 1) >> 1;
      if (times[middle] <= seconds) low = middle; else high = middle - 1;
    }
    const next = Math.min(low + 1, this.session.frames - 1);
    return times[next] - seconds < seconds - times[low] ? next : low;
  }

  zoomBy(factor) {
    const middle = this.session.arrays.line_s[this.frame];
    this.zoom = Math.min(Math.max(1, this.zoom * factor), Math.max(1, this.total / 5));
    this.start = middle - this.shown / 2;
    this._keepInside();
    this.draw();
  }

  go(frame) {
    this.frame = frame;
    const seconds = this.session.arrays.line_s[frame];
    if (seconds < this.start || seconds > this.start + this.shown) {
      this.start = seconds - this.shown / 2;
      this._keepInside();
      this.draw();
    } else this.drawHead();
  }

  _keepInside() {
    this.start = Math.min(Math.max(0, this.start), this.total - this.shown);
  }

  _listen() {
    let from = null, isSpan = false;
    const secondsOf = (event) => {
      const x = event.clientX - this.place.getBoundingClientRect().left;
      return Math.min(Math.max(this.seconds(x), 0), this.total);
    };
    this.place.addEventListener("pointerdown", (event) => {
      if (event.button) return;
      this.place.setPointerCapture(event.pointerId);
      from = secondsOf(event);
      isSpan = event.shiftKey || this.isMarking;
      this.onPlace(this.frameAt(from));
    });
    this.place.addEventListener("pointermove", (event) => {
      if (from === null) return;
      const to = secondsOf(event);
      const frame = this.frameAt(to);
      if (frame !== this.frame) this.onPlace(frame);
      if (isSpan) this.mark(this.frameAt(Math.min(from, to)), this.frameAt(Math.max(from, to)));
    });
    const end = () => { from = null; };
    this.place.addEventListener("pointerup", end);
    this.place.addEventListener("pointercancel", end);
    this.place.addEventListener("wheel", (event) => {
      if (!event.ctrlKey && !event.deltaX) return;
      event.preventDefault();
      if (event.ctrlKey) this.zoomBy(event.deltaY < 0 ? 1.25 : 0.8);
      else { this.start += event.deltaX / this.width * this.shown; this._keepInside(); this.draw(); }
    }, { passive: false });
  }

  mark(first, last) {
    this.span = [first, last];
    this.drawHead();
    this.onSpan(first, last);
  }

  draw() {
    if (!this.session || this.place.clientWidth < 20) return;
    const paint = prepared(this.lanes, this.place.clientWidth, this.height);
    const style = getComputedStyle(this.place);
    this.colours = Object.fromEntries(
      ["ink", "quiet", "line", "panel", "paper", "s0", "s1", "s2", "accent", "on1", "on2"]
        .map((name) => [name, style.getPropertyValue(`--${name}`).trim()]));
    this.place.style.height = `${this.height}px`;
    paint.font = "12px system-ui, sans-serif";
    this.hatch = this.hatch?.colour === this.colours.quiet ? this.hatch : hatched(paint, this.colours.quiet);
    const [first, last] = [this.frameAt(this.start), this.frameAt(this.start + this.shown)];
    this.columns = columns(this, first, last);
    let y = 0;
    const { facts, arrays } = this.session;
    y = this._words(paint, y, say("page.task"), arrays.task, (n) => facts.labels.task[n]);
    y = this._words(paint, y, say("page.area"), arrays.area, (n) => facts.labels.area[n]);
    y = this._words(paint, y, say("page.clock"), hours(this.session), (n) => String(n));
    facts.lanes.forEach((lane, row) => { y = this._lane(paint, y, lane, row); });
    this._axis(paint, y);
    this.drawHead();
  }

  _title(paint, y, text) {
    paint.fillStyle = this.colours.ink;
    paint.fillText(text, PAD + INSET, y + LABEL - 3);
    return y + LABEL;
  }

  _words(paint, y, title, values, nameOf) {
    y = this._title(paint, y, title);
    paint.fillStyle = this.hatch.pattern;
    paint.fillRect(PAD, y, this.width, TEXT_BAR);
    const { first, last } = this.columns, { arrays } = this.session;
    for (let begin = first; begin <= last;) {
      let end = begin;
      while (end < last && values[end + 1] === values[begin] && !arrays.gap_after[end]) end++;
      if (values[begin] !== UNJUDGED) this._word(paint, y, begin, end, nameOf(values[begin]));
      begin = end + 1;
    }
    return y + TEXT_BAR + GAP;
  }

  _word(paint, y, begin, end, text) {
    const times = this.session.arrays.line_s;
    const left = Math.max(PAD, this.x(times[begin]));
    const right = Math.min(PAD + this.width, this.x(this.endOf(end)));
    paint.fillStyle = this.colours.panel;
    paint.fillRect(left, y, right - left, TEXT_BAR);
    paint.strokeStyle = this.colours.quiet;
    paint.strokeRect(left + 0.5, y + 0.5, right - left - 1, TEXT_BAR - 1);
    paint.fillStyle = this.colours.ink;
    paint.fillText(fitting(paint, text, right - left - 8), left + 4, y + TEXT_BAR - 4);
  }

  _lane(paint, y, lane, row) {
    y = this._title(paint, y, lane.label);
    const strain = this.session.arrays.strain.subarray(row * this.session.frames, (row + 1) * this.session.frames);
    paint.fillStyle = this.hatch.pattern;
    paint.fillRect(PAD, y, this.width, BAR);
    const { starts, ends, lefts, rights } = this.columns;
    for (let column = 0; column < starts.length; column++) {
      let worst = -1;
      for (let frame = starts[column]; frame <= ends[column]; frame++) {
        if (strain[frame] !== UNJUDGED && strain[frame] > worst) worst = strain[frame];
      }
      if (worst < 0) continue;
      const left = lefts[column], wide = rights[column] - left;
      paint.fillStyle = this.colours.paper;
      paint.fillRect(left, y, wide, BAR);
      paint.fillStyle = this.colours[`s${worst}`];
      paint.fillRect(left, y + BAR * (1 - FULL[worst]), wide, BAR * FULL[worst]);
    }
    paint.strokeStyle = this.colours.line;
    paint.strokeRect(PAD + 0.5, y + 0.5, this.width - 1, BAR - 1);
    this._holds(paint, y + BAR + 2, lane.angle);
    return y + BAR + 4 + GAP;
  }

  _holds(paint, y, angle) {
    const times = this.session.arrays.line_s;
    paint.strokeStyle = paint.fillStyle = this.colours.ink;
    for (const hold of this.session.facts.holds) {
      if (hold.angle !== angle) continue;
      const left = this.x(times[hold.first]), right = this.x(times[hold.last]);
      if (right < PAD || left > PAD + this.width) continue;
      paint.fillRect(left, hold.is_long ? y - 0.5 : y + 0.5, Math.max(2, right - left), hold.is_long ? 4 : 1);
      paint.fillRect(left, y - 2, 1.5, 6);
      paint.fillRect(right - 1.5, y - 2, 1.5, 6);
    }
  }

  _axis(paint, y) {
    const { facts, arrays } = this.session;
    paint.fillStyle = this.colours.quiet;
    let free = -Infinity;
    for (const source of facts.sources) {
      const x = this.x(arrays.line_s[source.first]);
      if (x < PAD - 1 || x > PAD + this.width) continue;
      paint.fillStyle = this.colours.line;
      paint.fillRect(x, 0, 1, y);
      paint.fillStyle = this.colours.quiet;
      if (x < free) continue;
      paint.fillText(source.name, x + 3, y + 14);
      free = x + paint.measureText(source.name).width + 12;
    }
  }

  drawHead() {
    if (!this.session) return;
    const paint = prepared(this.head, this.place.clientWidth, this.height);
    const times = this.session.arrays.line_s;
    paint.fillStyle = this.colours.accent;
    for (const [first, last] of this.spans) {
      const left = this.x(times[first]);
      paint.fillRect(left, 0, Math.max(3, this.x(times[last]) - left), 6);
    }
    if (this.span) {
      const [left, right] = this.span.map((frame) => this.x(times[frame]));
      paint.fillStyle = this.colours.accent;
      paint.globalAlpha = 0.22;
      paint.fillRect(left, 0, Math.max(3, right - left), this.height - AXIS);
      paint.globalAlpha = 1;
      paint.fillRect(left - 1, 0, 2, this.height - AXIS);
      paint.fillRect(Math.max(left + 2, right) - 1, 0, 2, this.height - AXIS);
    }
    const x = this.x(times[this.frame]);
    paint.fillStyle = this.colours.paper;
    paint.fillRect(x - 2.5, 0, 5, this.height - AXIS);
    paint.fillStyle = this.colours.ink;
    paint.fillRect(x - 1, 0, 2, this.height - AXIS);
    paint.beginPath();
    paint.moveTo(x - 6, 0);
    paint.lineTo(x + 6, 0);
    paint.lineTo(x, 9);
    paint.fill();
  }
}

// Frames that fall on each pixel column; fewer frames than pixels: one column per frame.
function columns(lanes, first, last) {
  const { line_s: times, gap_after } = lanes.session.arrays;
  const starts = [], ends = [], lefts = [], rights = [];
  for (let frame = first; frame <= last;) {
    const left = Math.max(PAD, lanes.x(times[frame]));
    let end = frame;
    while (end < last && !gap_after[end] && lanes.x(times[end + 1]) < Math.floor(left) + 1) end++;
    const right = lanes.x(lanes.endOf(end));
    starts.push(frame); ends.push(end); lefts.push(left);
    rights.push(Math.min(PAD + lanes.width, right + 0.3));
    frame = end + 1;
  }
  return { first, last, starts, ends, lefts, rights };
}

function hours(session) {
  session.hours ??= Uint8Array.from(session.arrays.clock,
    (hour) => Number.isNaN(hour) ? UNJUDGED : (Math.round(hour) + 11) % 12 + 1);
  return session.hours;
}

function hatched(paint, colour) {
  const tile = document.createElement("canvas");
  tile.width = 8; tile.height = 5;
  const brush = tile.getContext("2d");
  brush.fillStyle = colour;
  brush.globalAlpha = 0.55;
  brush.fillRect(0, 2, 4, 1);
  return { colour, pattern: paint.createPattern(tile, "repeat") };
}

function prepared(canvas, width, height) {
  const ratio = devicePixelRatio || 1;
  const [wide, high] = [Math.round(width * ratio), Math.round(height * ratio)];
  if (canvas.width !== wide || canvas.height !== high) {
    canvas.width = wide; canvas.height = high;
    canvas.style.width = `${width}px`; canvas.style.height = `${height}px`;
  }
  const paint = canvas.getContext("2d");
  paint.setTransform(ratio, 0, 0, ratio, 0, 0);
  paint.clearRect(0, 0, width, height);
  return paint;
}

// The text, shortened where it is wider than its place; nothing where not even a letter fits.
function fitting(paint, text, wide) {
  if (paint.measureText(text).width <= wide) return text;
  let kept = text.length - 1;
  while (kept > 0 && paint.measureText(`${text.slice(0, kept)}…`).width > wide) kept--;
  return kept > 0 ? `${text.slice(0, kept).trimEnd()}…` : "";
}
