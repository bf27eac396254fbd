// Several cameras on one session: which one is shown, and when the others began.
import { element, tell } from "./ask.js";
import { isStart } from "./starts.js";
import { secondsIn } from "./times.js";
import { number, say } from "./words.js";

const $ = (id) => document.getElementById(id);

export class Cameras {
  constructor(send, redraw) {
    this.send = send;
    $("camera").addEventListener("change", redraw);
  }

  // 0 = the clip that the times are those of; then those beside it, from 1.
  get shown() { return Number($("camera").value || 0); }

  show({ facts }) {
    const { beside, sources } = facts;
    const before = this.shown;
    $("camera-part").hidden = !beside.length;
    $("camera").replaceChildren(...(beside.length ? [sources[0], ...beside] : []).map(({ name }, at) =>
      element("option", { value: at, selected: at === before }, name)));
    $("starts").replaceChildren(...beside.map((each, at) => this.form(each, sources[0].name, sources.length + at)));
  }

  form({ name, start_s, is_stated }, first, source) {
    const field = element("input", { inputmode: "decimal", size: 8, autocomplete: "off", value: number(start_s, 2) });
    const label = element("label", {}, element("span", {}, say("page.began", { name, first })), " ", field);
    const find = element("button", { type: "button", onclick: () => this.send({ key: "begins_s", set: null, source }) }, say("page.start_find"));
    const form = element("form", { class: "row", "aria-label": name }, label, element("button", { type: "submit" }, say("page.state")), ...(is_stated ? [find] : []));
    form.addEventListener("submit", (event) => {
      event.preventDefault();
      const begins_s = secondsIn(field.value);
      if (begins_s === null || !isStart(begins_s)) tell(say("page.wrong_start"), { isTrouble: true });
      else this.send({ key: "begins_s", set: begins_s, source });
    });
    return form;
  }
}
