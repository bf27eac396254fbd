// The moments behind a row or a bar: shown one after the other, all of them marked on the timeline.
import { tell } from "./ask.js";
import { say } from "./words.js";

const $ = (id) => document.getElementById(id);

export class Moments {
  constructor(onMoment, timeline) {
    Object.assign(this, { onMoment, timeline });
    this.tables = [];
    this.spans = [];
    $("moments-next").addEventListener("click", () => this.next());
    $("moments-done").addEventListener("click", () => { this.forget(); $("lanes").focus({ preventScroll: true }); });
    addEventListener("hashchange", () => this.followAddress());
  }

  // An address as the report's links have it: #limits_table/3/2, or #frame/120.
  followAddress() {
    const [name, row, part] = location.hash.slice(1).split("/");
    if (name === "frame") this.onMoment(Number(row) || 0);
    else if (row) this.show(name, Number(row), part === undefined ? null : Number(part));
  }

  show(name, row, part = null) {
    const table = this.tables.find((each) => each.name === name);
    const lead = table?.leads[row];
    const spans = (part === null ? lead?.spans : lead?.parts[part]) ?? [];
    if (!spans.length) return tell(say("page.no_moment"));
    this.title = titleOf(table, row, part);
    this.spans = spans;
    this.at = 0;
    this.timeline.spans = spans;
    this.go();
  }

  next() {
    if (!this.spans.length) return;
    this.at = (this.at + 1) % this.spans.length;
    this.go();
  }

  go() {
    $("moments-of").hidden = false;
    $("moments-next").hidden = this.spans.length < 2;
    $("moments-text").textContent = say("page.moments_of", { what: this.title, n: this.at + 1, total: this.spans.length });
    this.onMoment(this.spans[this.at][0]);
  }

  forget() {
    this.spans = this.timeline.spans = [];
    $("moments-of").hidden = true;
    this.timeline.drawHead();
  }
}

function titleOf(table, row, part) {
  const [head] = table.rows[row];
  const column = table.first_part === null || part === null ? null : table.columns[table.first_part + part];
  return column ? `${head}, ${column}` : head;
}
