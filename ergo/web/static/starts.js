// Asks when the clips of other cameras began, where neither sound nor movement told.
import { askJson, element, tell } from "./ask.js";
import { secondsIn } from "./times.js";
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
    if (begins_s.some((start) => start !== null && !isStart(start))) return tell(say("page.wrong_start"), { isTrouble: true });
    await askJson(`/api/jobs/${job.id}/starts`, { begins_s });
    then();
  });
  return form;
}

// As in the notes of a clip: within a day of the first one.
export const isStart = (seconds) => Math.abs(seconds) <= 86400;
