// One session: picture, lanes, figures and corrections, all about the same frame.
import { ask, askJson, element, tell } from "./ask.js";
import { unpack } from "./bytes.js";
import { Cameras } from "./cameras.js";
import { Corrections } from "./corrections.js";
import { describe } from "./describe.js";
import { Effect } from "./effect.js";
import { Jobs } from "./jobs.js";
import { Moments } from "./moments.js";
import { Player } from "./player.js";
import { Stage } from "./stage.js";
import { ClassRoom } from "./classroom.js";
import { Timeline } from "./timeline.js";
import { clockTime, number, say } from "./words.js";

const $ = (id) => document.getElementById(id);
const id = $("session").dataset.session;
const STRAIN = [["○", "within"], ["◑", "limited"], ["●", "beyond"]];
let session = null;

const stage = new Stage($("picture"), $("overlay"), $("dial"), $("clock-said"), $("no-picture"));
const player = new Player(showFrame, (isPlaying) => {
  $("play").textContent = say(isPlaying ? "page.pause" : "page.play");
  $("play").setAttribute("aria-pressed", isPlaying);
});
const timeline = new Timeline($("lanes"), $("lane-canvas"), $("head-canvas"),
  (frame) => { player.pause(); player.go(frame); }, (first, last) => corrections.showSpan(first, last));
const moments = new Moments(goAndLook, timeline);
const effect = new Effect();
const jobs = new Jobs($("jobs"), reloadWatched, (job) => job.replaces === id, (job) => job.state !== "done", (all) => effect.watch({ jobs: all }));
const corrections = new Corrections(id, () => ({ session, player, camera: cameras.shown }), reload, () => stage.redraw(), () => jobs.refresh(), effect);
const cameras = new Cameras((correction) => corrections.send(correction), () => player.go(player.frame));
stage.extra = (size) => [...corrections.setUp.drawn(size), ...corrections.people.drawn(size)];
const classRoom = new ClassRoom(id, () => ({ session, player }));

async function load() {
  const answer = await ask(`/api/sessions/${id}/timeline`);
  session = unpack(await answer.arrayBuffer());
  $("loading").hidden = true;
  $("desk").hidden = false;
  stage.show(session);
  cameras.show(session);
  timeline.show(session);
  player.show(session);
  effect.watch({ session });
  corrections.show(session);
  document.body.dataset.ready = session.frames;
}

async function showFigures() {
  const figures = await askJson(`/api/sessions/${id}/figures`);
  effect.show(figures);
  $("first").replaceChildren(...figures.first.map((text) => element("li", {}, text)));
  showChange(figures.change);
  $("seen").textContent = figures.seen;
  $("together").hidden = !figures.together.length;
  $("together-facts").replaceChildren(...figures.together.map((text) => element("li", {}, text)));
  $("advice").replaceChildren(...figures.next.map((text) => element("li", {}, text)));
  $("no-moments").hidden = figures.moments.length > 0;
  $("moments").replaceChildren(...figures.moments.map((moment) => element("li", {},
    leading(moment.title, () => goAndLook(moment.frame)), ": ", moment.values.join("; "))));
  const open = new Set([...$("tables").querySelectorAll("details[open] caption")].map((each) => each.textContent));
  $("tables").replaceChildren(...figures.tables.map((table, at) => tableOf(table, at < 1 || open.has(table.caption))));
  moments.tables = figures.tables;
  document.body.dataset.figures = Number(document.body.dataset.figures || 0) + 1;
}

function showChange({ first, source, more, others }) {
  $("change").textContent = first;
  $("change-source").textContent = source;
  $("more-changes").hidden = !others.length;
  $("more-changes").querySelector("summary").textContent = more;
  $("more-changes").querySelector("ol").replaceChildren(...others.map((text) => element("li", {}, text)));
}

function leading(text, act) {
  return element("button", { type: "button", class: "leads", onclick: act }, text);
}

function goAndLook(frame) {
  player.pause();
  player.go(frame);
  $("stage").scrollIntoView({ block: "nearest", behavior: "smooth" });
}

function tableOf(table, isOpen) {
  const head = element("thead", {}, element("tr", {}, ...table.columns.map((name) => element("th", { scope: "col" }, name))));
  const rows = table.rows.map((row, at) => element("tr", {}, ...row.map((text, column) => cellOf(table, at, column, text))));
  return element("details", { open: isOpen }, element("summary", {}, table.caption),
    element("div", { class: "scroll", role: "region", tabindex: 0, "aria-label": table.caption },
      element("table", { class: table.columns.length > 7 ? "stacked many" : "stacked" }, element("caption", { class: "unseen" }, table.caption), head, element("tbody", {}, ...rows))));
}

function cellOf(table, row, column, text) {
  const lead = table.leads[row];
  const part = column === 0 ? null : column - (table.first_part ?? Infinity);
  const spans = column === 0 ? lead?.spans : lead?.parts[part];
  const inside = spans?.length ? leading(text, () => moments.show(table.name, row, part)) : text;
  return column ? element("td", { "data-label": table.columns[column] }, inside) : element("th", { scope: "row" }, inside);
}

// The picture first: the figures take the server longer.
async function reload() {
  await load();
  await showFigures();
}

async function reloadWatched() {
  const where = session.facts.to_watch.join(", ");
  await reload();
  if (where) effect.end(say("page.effect_watched", { where }));
}

function showFrame(frame) {
  stage.go(frame, { landmarks: $("show-landmarks").checked, angles: $("show-angles").checked && !classRoom.isOn, camera: cameras.shown });
  timeline.go(frame);
  const { facts, arrays } = session;
  const source = facts.sources[arrays.source[frame]];
  const place = source.kind === "clip" ? `${source.name}, ${clockTime(arrays.time_s[frame])}` : source.name;
  $("where").textContent = say("page.where", { place, n: frame + 1, total: session.frames });
  const shown = cameras.shown && facts.beside[cameras.shown - 1];
  $("picture").alt = say("page.picture_alt", { place: shown ? `${shown.name}, ${place}` : place });
  $("lanes").setAttribute("aria-valuemax", session.frames - 1);
  $("lanes").setAttribute("aria-valuenow", frame);
  $("lanes").setAttribute("aria-valuetext", place);
  $("still").href = `/sessions/${id}/stills/${frame}.jpg`;
  $("clip").href = `/sessions/${id}/clips/${arrays.source[frame]}.mp4`;
  $("clip").hidden = source.kind !== "clip";
  showValues(frame);
  corrections.followed();
  classRoom.go(frame);
}

function showValues(frame) {
  const rows = session.facts.lanes.map((lane, row) => {
    const at = lane.angle * session.frames + frame;
    const value = session.arrays.value[at], spread = 1.645 * session.arrays.sd[at];
    const strain = session.arrays.strain[row * session.frames + frame];
    const [symbol, word] = STRAIN[strain] ?? ["◌", "unjudged"];
    const text = Number.isFinite(value) ? `${number(value)}° (${number(value - spread)}° – ${number(value + spread)}°)` : say("number.unknown");
    return element("tr", {}, element("th", { scope: "row" }, lane.label), element("td", {}, text),
      element("td", {}, `${symbol} ${say(`strain.${word}`)}`));
  });
  $("values").tBodies[0].replaceChildren(...rows);
}

function jump(kind) {
  const names = { hold: "nextHold", longest: "longestHold", worst: "nextWorst" };
  const found = player[names[kind]]();
  if (!found) tell(say(kind === "worst" ? "page.no_worst" : "page.no_hold"));
  else if (found.label && !classRoom.isOn) {
    const which = kind === "longest" ? `${say("page.longest_hold")}: ` : "";
    tell(`${which}${found.label}, ${found.length}`);
  }
}

function markEdge(isEnd) {
  const other = timeline.span?.[isEnd ? 0 : 1] ?? player.frame;
  timeline.mark(...(isEnd ? [Math.min(other, player.frame), player.frame] : [player.frame, Math.max(other, player.frame)]));
}

function toggleMarking() {
  timeline.isMarking = !timeline.isMarking;
  $("mark").setAttribute("aria-pressed", timeline.isMarking);
}

function toggleFull() {
  if (document.fullscreenElement) document.exitFullscreen();
  else $("session").requestFullscreen();
}

const KEYS = {
  ArrowLeft: (event) => player.step(event.shiftKey ? -10 : -1),
  ArrowRight: (event) => player.step(event.shiftKey ? 10 : 1),
  Home: () => player.step(-Infinity),
  End: () => player.step(Infinity),
  " ": () => player.toggle(),
  h: () => jump("hold"), l: () => jump("longest"), w: () => jump("worst"),
  "[": () => markEdge(false), "]": () => markEdge(true),
  "+": () => timeline.zoomBy(1.5), "-": () => timeline.zoomBy(1 / 1.5),
  n: () => moments.next(), z: () => corrections.undo(), f: toggleFull, "?": () => $("keys").showModal(),
};

document.addEventListener("keydown", (event) => {
  if (!session || event.metaKey || event.altKey || document.querySelector("dialog[open]")) return;
  if (event.ctrlKey && event.key !== "z") return;
  if (event.target.closest("input, select, textarea, .scroll")) return;
  if (event.key === " " && event.target.closest("button, a, summary")) return;
  const act = KEYS[event.key.length === 1 ? event.key.toLowerCase() : event.key];
  if (!act) return;
  event.preventDefault();
  act(event);
});

const CLICKS = {
  back: () => player.step(-1), forward: () => player.step(1), play: () => player.toggle(),
  "next-hold": () => jump("hold"), "longest-hold": () => jump("longest"), "next-worst": () => jump("worst"),
  "zoom-in": () => timeline.zoomBy(1.5), "zoom-out": () => timeline.zoomBy(1 / 1.5), mark: toggleMarking,
  full: toggleFull, "keys-open": () => $("keys").showModal(), "export-open": () => $("export").showModal(),
  edit: () => describe(session.facts, named),
  teach: () => { classRoom.toggle(); moments.forget(); tell(""); player.go(player.frame); },
};
for (const [name, act] of Object.entries(CLICKS)) $(name).addEventListener("click", act);
for (const link of document.querySelectorAll("#export a[href*='/files/']")) link.addEventListener("click", () => tell(say("page.making")));
$("speed").addEventListener("change", () => { player.speed = Number($("speed").value); });
for (const name of ["show-landmarks", "show-angles"]) $(name).addEventListener("change", () => player.go(player.frame));

function named({ name, tags }) {
  Object.assign(session.facts, { name, tags });
  $("name").textContent = name;
  document.title = `${name}, ergo`;
}

try {
  await reload();
  moments.followAddress();
} catch (error) {
  if (!error.status) throw error;
  $("loading").textContent = error.message;  // what the server could not read
}
