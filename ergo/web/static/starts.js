// Asks when the clips of other cameras began, where neither sound nor movement told.
import { askJson, element, tell } from "./ask.js";
import { say } from "./words.js";

export function startsForm(job, then) {
  const [first, ...others] = job.clips;
  const fields = others.map((name) => element("input", { inputmode: "decimal", size: 8, autocomplete: "off", "aria-label": say("page.began", { name, first }) }));
  const rows = others.map((name, at) => element("label", {}, element("span", {}, say("page.began", { name, first })), " ", fields[at]));
  const form = element("form", { class: "starts" }, element("p", {}, say("page.starts_how")), ...rows,
    element("button", { type: "submit", class: "primary" }, say("page.analyse_again")));
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const begins_s = fields.map((field) => secondsIn(field.value));
    if (begins_s.some(Number.isNaN)) return tell(say("page.wrong_start"), true);
    await askJson(`/api/jobs/${job.id}/starts`, { begins_s });
    then();
  });
  return form;
}

// Nothing written: null, to be found; no number: NaN.
export function secondsIn(text) {
  const written = text.trim().replace(",", ".").replace("\u2212", "-");
  return written === "" ? null : Math.abs(Number(written)) <= 86400 ? Number(written) : NaN;
}
