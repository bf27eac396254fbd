// Score it yourself: the program's figures stay hidden until the class has given its own.
import { askJson, element } from "./ask.js";
import { say } from "./words.js";

const $ = (id) => document.getElementById(id);

export class ClassRoom {
  constructor(id, view) {
    Object.assign(this, { id, view });
    this.isOn = false;
    $("class-form").addEventListener("submit", (event) => { event.preventDefault(); this.compare(); });
  }

  async toggle() {
    this.isOn = !this.isOn;
    $("teach").setAttribute("aria-pressed", this.isOn);
    $("class").hidden = !this.isOn;
    $("session").classList.toggle("teaching", this.isOn);
    if (this.isOn && !$("class-form").childElementCount) await this.draw();
  }

  // Another moment: the answer shown belongs to the one before.
  go() { if (this.isOn) $("class-answer").replaceChildren(); }

  async draw() {
    const regions = await askJson(`/api/sessions/${this.id}/class`);
    const side = element("label", {}, say("page.teach_side"), " ", element("select", { name: "side" },
      ...["left", "right"].map((name) => element("option", { value: name }, say(`scores.sides.${name}`)))));
    const fields = regions.map((region) => element("p", { class: "region" },
      element("label", { for: `step-${region.key}` }, region.label),
      element("select", { id: `step-${region.key}`, name: region.key, required: true, "aria-describedby": `bands-${region.key}` },
        element("option", { value: "" }, "–"),
        ...Array.from({ length: region.highest }, (_, at) => element("option", { value: at + 1 }, at + 1))),
      element("small", { id: `bands-${region.key}`, class: "quiet" }, [...region.bands, region.more].filter(Boolean).join("; "))));
    $("class-form").append(element("p", {}, side), ...fields,
      element("button", { type: "submit", class: "primary" }, say("page.teach_compare")));
  }

  async compare() {
    const given = Object.fromEntries(new FormData($("class-form")));
    const { side, ...steps } = given;
    for (const name of Object.keys(steps)) steps[name] = Number(steps[name]);
    const frame = this.view().player.frame;
    const answer = await askJson(`/api/sessions/${this.id}/class`, { frame, side, steps });
    const names = ["teach_region", "teach_own", "teach_measured", "strain_differs", "teach_angles"].map((name) => say(`page.${name}`));
    const shown = (value) => String(value ?? say("page.teach_unseen"));
    const rowOf = (label, { own, measured, verdict, angles = [] }, kind = "") => element("tr", { class: kind }, element("th", { scope: "row" }, label),
      ...[shown(own), shown(measured), verdict, angles.join("\n")].map((text, at) => element("td", { "data-label": names[at + 1] }, text)));
    const rows = [...answer.rows.map((row) => rowOf(row.label, row)), rowOf(say("page.teach_grand"), answer.grand, "grand")];
    $("class-answer").replaceChildren(element("div", { class: "scroll", tabindex: 0, role: "region", "aria-label": say("page.teach_caption") },
      element("table", { class: "stacked" }, element("caption", {}, say("page.teach_caption")),
        element("thead", {}, element("tr", {}, ...names.map((name) => element("th", { scope: "col" }, name)))),
        element("tbody", {}, ...rows))));
    $("class-answer").firstChild.focus();
  }
}
