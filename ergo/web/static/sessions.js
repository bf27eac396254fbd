// The list of sessions: search, tags, and what is being added.
import { askJson, element, tell } from "./ask.js";
import { Basket } from "./basket.js";
import { describe } from "./describe.js";
import { Jobs } from "./jobs.js";
import { send } from "./sending.js";
import { say } from "./words.js";

const $ = (id) => document.getElementById(id);
let sessions = [];
let chosenTag = null;
const chosen = new Set();

function pick(event) {
  const id = event.target.value;
  if (event.target.checked) chosen.add(id); else chosen.delete(id);
  while (chosen.size > 2) chosen.delete(chosen.values().next().value);
  draw();
}

// The older one is "before".
$("comparison").addEventListener("submit", (event) => {
  event.preventDefault();
  if (chosen.size !== 2) return tell(say("page.compare_how"));
  const dayOf = (each) => each.recorded_on ?? each.added_at;
  const [before, after] = sessions.filter((each) => chosen.has(each.id)).sort((a, b) => dayOf(a) < dayOf(b) ? -1 : 1);
  location.href = `/comparison?before=${before.id}&after=${after.id}`;
});

function shown() {
  const words = $("search").value.toLowerCase().split(/\s+/).filter(Boolean);
  return sessions.filter((each) => {
    const text = [each.name, each.operator ?? "", each.recorded_on ?? "", ...each.tags].join(" ").toLowerCase();
    return words.every((word) => text.includes(word)) && (!chosenTag || each.tags.includes(chosenTag));
  });
}

function draw() {
  const canCompare = sessions.length > 1;
  $("comparison").hidden = !canCompare;
  const rows = shown().map((each) => element("li", {},
    ...(canCompare ? [element("input", { type: "checkbox", value: each.id, checked: chosen.has(each.id),
      "aria-label": say("page.compare_pick", { name: each.name }), onchange: pick })] : []),
    element("a", { href: `/sessions/${each.id}` }, each.name),
    element("span", { class: "quiet" }, [each.operator, each.recorded_on ?? each.added_at.slice(0, 10)].filter(Boolean).join(", ")),
    ...each.tags.map((tag) => element("span", { class: "tag" }, tag)),
    element("button", { type: "button", class: "leads edit", "aria-label": `${say("page.edit")}: ${each.name}`, onclick: () => describe(each, loadSessions) }, say("page.edit"))));
  $("list").replaceChildren(...rows);
  $("none").hidden = rows.length > 0;
}

function drawTags() {
  const tags = [...new Set(sessions.flatMap((each) => each.tags))].sort();
  $("tags").replaceChildren(...tags.map((tag) => element("button", {
    type: "button", "aria-pressed": tag === chosenTag,
    onclick: () => { chosenTag = tag === chosenTag ? null : tag; drawTags(); draw(); },
  }, tag)));
}

export async function loadSessions() {
  sessions = await askJson("/api/sessions");
  drawTags();
  draw();
}

$("search").addEventListener("input", draw);

const jobs = new Jobs($("jobs"), loadSessions);

const basket = new Basket(async (parts) => {
  for (const { files, isTogether } of parts) {
    await send(files, $("uploads"), isTogether);
    jobs.refresh();
  }
});

const add = (files) => { if (files.length) basket.take(files); };
$("files").addEventListener("change", () => { add([...$("files").files]); $("files").value = ""; });
const drop = $("drop");
for (const kind of ["dragenter", "dragover"]) drop.addEventListener(kind, (event) => { event.preventDefault(); drop.classList.add("over"); });
drop.addEventListener("dragleave", () => drop.classList.remove("over"));
drop.addEventListener("drop", (event) => { event.preventDefault(); drop.classList.remove("over"); add([...event.dataTransfer.files]); });

await loadSessions(); // last: whoever drops a recording at once is heard
