// Who is the operator: everybody found in the picture, outlined and numbered, to be chosen and confirmed.
import { askJson, element, tell } from "./ask.js";
import { say } from "./words.js";

const SVG = "http://www.w3.org/2000/svg";
const $ = (id) => document.getElementById(id);

export class People {
  // `view` tells where we are; `then` is told the person who was confirmed, and where.
  constructor(id, view, redraw, then) {
    Object.assign(this, { id, view, redraw, then });
    this.end();
    $("operator").addEventListener("click", () => (this.place ? this.leave() : this.ask()));
    $("people-yes").addEventListener("click", () => this.confirmed());
    $("people-no").addEventListener("click", () => this.back());
    $("people-end").addEventListener("click", () => this.leave());
    document.addEventListener("keydown", (event) => this.pressed(event), true);
  }

  async ask() {
    const place = this.view();
    this.open(place);
    $("people-how").textContent = say("page.people_looking");
    $("stage").scrollIntoView({ block: "nearest" });
    let people;
    try {
      people = await askJson(`/api/sessions/${this.id}/people/${place.frame}?camera=${place.camera + 1}`);
    } catch (error) {
      if (this.place === place) this.leave();
      throw error;
    }
    if (this.place !== place) return;  // given up meanwhile, or another picture is shown
    this.people = people.map((person, at) => ({ ...person, n: at + 1 }));
    this.back();
  }

  open(place) {
    this.place = place;
    $("people").hidden = false;
    $("operator").setAttribute("aria-pressed", true);
    document.body.classList.add("choosing-people");
  }

  end() {
    Object.assign(this, { place: null, people: [], chosen: null });
    for (const name of ["people", "people-confirm"]) $(name).hidden = true;
    $("people-list").replaceChildren();
    $("operator").setAttribute("aria-pressed", false);
    document.body.classList.remove("choosing-people");
  }

  leave() {
    this.end();
    this.redraw();
    $("operator").focus({ preventScroll: true });
  }

  // Another picture is shown: the outlines are not those of its people.
  moved() {
    if (!this.place) return;
    const { frame, camera } = this.view();
    if (frame === this.place.frame && camera === this.place.camera) return;
    this.end();
    this.redraw();
  }

  // All can be chosen (again).
  back() {
    this.chosen = null;
    $("people-confirm").hidden = true;
    $("people-how").textContent = this.people.length ? say("page.people_how") : say("page.people_none");
    $("people-list").replaceChildren(...this.people.map((person) => element("li", {},
      element("button", { type: "button", onclick: () => this.choose(person) }, this.nameOf(person)))));
    this.redraw();
    ($("people-list").querySelector("button") ?? $("people-end")).focus({ preventScroll: true });
  }

  nameOf({ n, at, lies, is_operator }) {
    const third = Math.min(2, Math.floor(3 * at[0] / this.place.width));
    const where = say(`page.people_${["left", "middle", "right"][third]}`);
    const what = [where, ...(is_operator ? [say("page.people_now")] : []), ...(lies ? [say("page.people_lies")] : [])];
    return say("page.people_one", { n, what: what.join(", ") });
  }

  choose(person) {
    if (person.is_operator && !person.lies) return tell(say("page.people_is", { n: person.n }));
    this.chosen = person;
    $("people-ask").textContent = say(person.lies ? "page.people_ask_lying" : "page.people_ask", { n: person.n });
    $("people-confirm").hidden = false;
    this.redraw();
    $(person.lies ? "people-no" : "people-yes").focus({ preventScroll: true });
  }

  confirmed() {
    const { chosen, place } = this;
    this.leave();
    this.then(chosen, place);
  }

  pressed(event) {
    if (!this.place || event.ctrlKey || event.metaKey || event.altKey || event.target.closest("input, select, textarea, dialog")) return;
    const person = this.people.find(({ n }) => String(n) === event.key);
    if (event.key === "Escape") { if (this.chosen) this.back(); else this.leave(); }
    else if (person) this.choose(person);
    else return;
    event.preventDefault();
    event.stopPropagation();
  }

  // Outlines over the blurred picture: seen on light and dark, dashed where somebody lies.
  drawn(size) {
    return this.people.flatMap((person) => {
      const kind = `${person.lies ? " lies" : ""}${person === this.chosen ? " chosen" : ""}`;
      const corners = person.outline.map((at) => at.join(",")).join(" ");
      const shapes = ["rim", "line"].map((name) => made("polygon", { class: `person person-${name}${kind}`, points: corners,
        "stroke-width": size / (name === "rim" ? 120 : 260), "stroke-dasharray": person.lies && name === "line" ? `${size / 60} ${size / 90}` : "none" }));
      const [x, cy] = person.at;  // where nobody else is
      const label = made("text", { class: "person-number", x, y: cy + size / 95, "font-size": size / 32 });
      label.textContent = person.n;
      const all = [...shapes, made("circle", { class: `person person-disc${kind}`, cx: x, cy, r: size / 45, "stroke-width": size / 300 }), label];
      for (const shape of all) shape.addEventListener("click", () => this.choose(person));
      return all;
    });
  }
}

function made(tag, attributes) {
  const part = document.createElementNS(SVG, tag);
  for (const [name, value] of Object.entries(attributes)) part.setAttribute(name, value);
  return part;
}
