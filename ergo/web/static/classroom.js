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
    const cell = (value) => element("td", {}, String(value ?? say("page.teach_unseen")));
    const head = ["region", "own", "measured"].map((name) => element("th", { scope: "col" }, say(`page.teach_${name}`)));
    const rows = answer.rows.map((row) => element("tr", {}, element("th", { scope: "row" }, row.label), cell(row.own), cell(row.measured),
      element("td", {}, row.verdict), element("td", {}, row.angles.join("\n"))));
    rows.push(element("tr", { class: "grand" }, element("th", { scope: "row" }, say("page.teach_grand")), cell(answer.grand.own), cell(answer.grand.measured), element("td", {}, answer.grand.verdict), element("td")));
    $("class-answer").replaceChildren(element("div", { class: "scroll", tabindex: 0, role: "region", "aria-label": say("page.teach_caption") },
      element("table", {}, element("caption", {}, say("page.teach_caption")),
        element("thead", {}, element("tr", {}, ...head, element("th", { scope: "col" }, say("page.strain_differs")), element("th", { scope: "col" }, say("page.teach_angles")))),
        element("tbody", {}, ...rows))));
    $("class-answer").firstChild.focus();
  }
}
